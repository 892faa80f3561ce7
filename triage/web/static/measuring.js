// Clicked points become lengths in inches; the server finds the card and reckons.
import { complain, element, inOrder, post, tell } from "./common.js";
import { drawing, item } from "./marking.js";

const at = (name) => document.getElementById(name);
let points = [];

const { show } = drawing(([x, y, w, h]) => add([x + w / 2, y + h / 2]), add);

function add(point) { points = [...points, point]; changed(); }

function changed() {
  show([{ boxes: points.map(([x, y]) => [x, y, 0, 0]), kind: "mine" }]);
  ask("").catch(complain);
}

function ask(fact) {
  const ruler = at("ruler").value.trim().replace(",", ".");
  const given = { points: points.length > 1 ? points : [], fact, ruler_in: ruler ? Number(ruler) : null };
  return inOrder(() => post(`photo/${item.sha}/measure`, given)).then(({ lengths, remarks, told }) => {
    at("card").textContent = "The card's plane is found.";
    at("remarks").replaceChildren(...remarks.map((text) => element("li", { text })));
    at("lengths").replaceChildren(...lengths.map((text) => element("li", { text })));
    tell(told, false, 8);
  });
}

const ACTS = {
  back: () => { points = points.slice(0, -1); changed(); },
  clear: () => { points = []; changed(); },
  keep: () => {
    if (points.length < 2) { tell("Click the two ends of a length first."); return; }
    if (!at("fact").value) { tell("Choose which fact it is."); at("fact").focus(); return; }
    ask(at("fact").value).catch(complain);
  },
};
document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-act]");
  if (button) ACTS[button.dataset.act]();
});
at("ruler").addEventListener("change", () => ask("").catch(complain));
ask("").catch((error) => { at("card").textContent = error.message; at("card").className = "warn"; });
