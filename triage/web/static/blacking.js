// Boxes that reports paint black: drawn by hand, stored at every change.
import { complain, element, inOrder, post, tell } from "./common.js";
import { drawing, item } from "./marking.js";
import { between } from "./view.js";

const at = (name) => document.getElementById(name);
let boxes = item.boxes;
let corner = null;

const { show } = drawing((box) => {
  if (box[2] && box[3]) store([...boxes, box]);
  else tell("Drag a box over what must not be shown.");
}, (point) => {
  if (!corner) { corner = point; tell("One corner is set; move to the other and press Space again."); draw(); return; }
  const box = between(corner, point);
  corner = null;
  if (box[2] && box[3]) store([...boxes, box]);
  else draw();
});

function draw() {
  show([{ boxes, kind: "black" }, { boxes: corner ? [[...corner, 0, 0]] : [], kind: "mine" }]);
  at("none").hidden = boxes.length > 0;
  at("boxes").replaceChildren(...boxes.map((box, place) => element("li", {},
    element("button", { type: "button", text: `Take box ${place + 1} away`, onclick: () => store(boxes.filter((_, one) => one !== place)) }))));
}

function store(now) {
  const before = boxes;
  boxes = now;
  draw();
  inOrder(() => post(`photo/${item.sha}/blackout`, { boxes: now })).then(({ told }) => tell(told)).catch((error) => { boxes = before; draw(); complain(error); });
}

draw();
