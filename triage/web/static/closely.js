// Looking closely at many photos for one thing: a click on the spot says yes, 'looked at all' says no for the rest.
import { complain, element, inOrder, post, tell } from "./common.js";
import { Seen } from "./seen.js";
import { View, between, drawBox } from "./view.js";

const root = document.getElementById("closely");
const tiles = [...root.querySelectorAll(".lookat")];
const seen = new Seen(tiles);
const mine = JSON.parse(root.dataset.mine);
const state = new Map(tiles.map((tile) => [tile, mine[tile.dataset.sha] || { value: null, boxes: [] }]));
const at = (name) => document.getElementById(name);
let closerTile = null;
const view = new View(at("closer-frame"), at("closer-paper"), at("closer-picture"), at("closer-marks"), (box) => addMark(closerTile, box));

const sizeOf = (tile) => ({ width: Number(tile.dataset.width), height: Number(tile.dataset.height) });

// A frame has its photo's shape before the picture has come: a spot clicked early lies where it was clicked.
for (const tile of tiles) tile.querySelector(".shotframe").style.setProperty("--ratio", sizeOf(tile).width / sizeOf(tile).height);

function draw(tile) {
  const { value, boxes } = state.get(tile);
  const marks = tile.querySelector(".tilemarks");
  const shown = tile.querySelector("img").clientWidth || 400;
  marks.replaceChildren();
  for (const box of boxes) drawBox(marks, box, "mine", sizeOf(tile), (9 * sizeOf(tile).width) / shown);
  tile.dataset.value = value || "";
  for (const button of tile.querySelectorAll("[data-toggle]")) button.setAttribute("aria-pressed", String(button.dataset.toggle === value));
  if (tile === closerTile) view.setLayers([{ boxes, kind: "mine" }]);
  tally();
}

function tally() {
  const yes = tiles.filter((tile) => state.get(tile).value === "present").length;
  const unclear = tiles.filter((tile) => state.get(tile).value === "unclear").length;
  at("tally").textContent = `${yes} yes, ${unclear ? `${unclear} cannot tell, ` : ""}the other ${tiles.length - yes - unclear} will be answered no`;
}

function addMark(tile, box) {
  const before = state.get(tile);
  state.set(tile, { value: "present", boxes: [...(before.value === "present" ? before.boxes : []), box] });
  draw(tile);
}

function toggle(tile, value) {
  const before = state.get(tile);
  state.set(tile, before.value === value ? { value: null, boxes: [] } : { value, boxes: [] });
  draw(tile);
}

root.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  const tile = button.closest(".lookat");
  if (button.dataset.toggle) toggle(tile, button.dataset.toggle);
  else if (button.dataset.closer) closer(tile);
  else if (button.dataset.looked) looked(button.dataset.looked, button);
});

// A click on the picture marks a spot, a drag a box; a click on a mark takes it away.
root.addEventListener("pointerdown", (event) => {
  const frame = event.target.closest(".shotframe");
  if (!frame || event.button !== 0) return;
  event.preventDefault();
  const tile = frame.closest(".lookat");
  const fraction = (now) => {
    const box = frame.getBoundingClientRect();
    return [Math.min(1, Math.max(0, (now.clientX - box.left) / box.width)), Math.min(1, Math.max(0, (now.clientY - box.top) / box.height))];
  };
  const start = fraction(event);
  frame.setPointerCapture(event.pointerId);
  frame.addEventListener("pointerup", (end) => {
    const far = Math.hypot(end.clientX - event.clientX, end.clientY - event.clientY) > 5;
    if (far) { addMark(tile, between(start, fraction(end))); return; }
    const hit = state.get(tile).boxes.findIndex((box) => near(box, start, frame));
    if (hit >= 0) dropMark(tile, hit);
    else addMark(tile, [...start, 0, 0]);
  }, { once: true });
});

function near([x, y, w, h], [px, py], frame) {
  if (w || h) return false;
  const size = frame.getBoundingClientRect();
  return Math.hypot((x - px) * size.width, (y - py) * size.height) < 12;
}

function dropMark(tile, which) {
  const boxes = state.get(tile).boxes.filter((_, place) => place !== which);
  state.set(tile, { value: boxes.length ? "present" : null, boxes });
  draw(tile);
}

function closer(tile) {
  closerTile = tile;
  at("closer-name").textContent = tile.dataset.name;
  at("closer").showModal();
  view.show({ sha: tile.dataset.sha, name: tile.dataset.name, picture: tile.dataset.picture, full: tile.dataset.full, ...sizeOf(tile) });
  view.fit();
  view.setLayers([{ boxes: state.get(tile).boxes, kind: "mine" }]);
  at("closer-frame").focus();
}

const VIEW = { in: () => view.zoom(1.5), out: () => view.zoom(1 / 1.5), fit: () => view.fit(), close: () => at("closer").close() };
at("closer").addEventListener("click", (event) => {
  const button = event.target.closest("[data-view]");
  if (button) VIEW[button.dataset.view]();
});
at("closer").addEventListener("close", () => { const tile = closerTile; closerTile = null; if (tile) tile.querySelector("[data-closer]").focus(); });
at("closer").addEventListener("keydown", (event) => {
  const act = { "+": VIEW.in, "=": VIEW.in, "-": VIEW.out, 0: VIEW.fit }[event.key];
  if (act) { event.preventDefault(); act(); }
});

function looked(which, button) {
  const group = which === "all" ? tiles : tiles.filter((tile) => tile.closest(".looks").dataset.group === which);
  const missing = seen.demand(group);
  if (missing) { tell(`${missing} of these photos have not been on the screen yet: look at them first.`); return; }
  const answers = group.map((tile) => {
    const { value, boxes } = state.get(tile);
    return { photo: tile.dataset.sha, value: value || "absent", boxes: value === "present" ? boxes : [] };
  });
  button.disabled = true;
  inOrder(() => post("looked", { deck: root.dataset.deck, tag: root.dataset.tag, answers })).then((told) => {
    tell(told.told, false, 8);
    for (const tile of group) if (!state.get(tile).value) { state.set(tile, { value: "absent", boxes: [] }); draw(tile); }
    button.textContent = "Saved";
    const next = element("a", { class: "button main", href: told.next, text: told.next_words });
    at("after").replaceChildren(next, element("span", { class: "note", text: told.open ? ` ${told.open} photos are still open for this.` : "" }));
    if (which === "all" || !told.open) location.href = told.next;
  }).catch((error) => { button.disabled = false; complain(error); });
}

for (const tile of tiles) draw(tile);
new ResizeObserver(() => tiles.forEach(draw)).observe(root);
