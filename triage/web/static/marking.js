// A photo on which something is drawn: the view with its buttons, and a cross that the keyboard moves.
import { View } from "./view.js";

const at = (name) => document.getElementById(name);
export const item = JSON.parse(at("look").dataset.start);
const STEP = 0.02, FINE = 0.002;
const MOVES = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

export function drawing(onMark, onPoint) {
  const view = new View(at("frame"), at("paper"), at("picture"), at("marks"), onMark, { marking: true });
  const aim = { x: 0.5, y: 0.5, shown: false };
  let layers = [];
  const draw = () => view.setLayers([...layers, { boxes: aim.shown ? cross(aim) : [], kind: "other" }]);
  const acts = { in: () => view.zoom(1.5), out: () => view.zoom(1 / 1.5), fit: () => view.fit(), pixels: () => view.pixels() };
  document.addEventListener("click", (event) => {
    const button = event.target.closest("[data-view]");
    if (button) acts[button.dataset.view]();
  });
  at("frame").addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const zoom = { "+": acts.in, "=": acts.in, "-": acts.out, 0: acts.fit }[event.key];
    const move = MOVES[event.key];
    if (!zoom && !move && event.key !== " ") return;
    event.preventDefault();
    if (zoom) { zoom(); return; }
    if (move) {
      const step = event.shiftKey ? FINE : STEP;
      aim.x = Math.min(1, Math.max(0, aim.x + step * move[0]));
      aim.y = Math.min(1, Math.max(0, aim.y + step * move[1]));
      aim.shown = true;
    } else onPoint([aim.x, aim.y]);
    draw();
  });
  at("frame").addEventListener("blur", () => { aim.shown = false; draw(); });
  view.show(item);
  return { view, show: (now) => { layers = now; draw(); } };
}

function cross({ x, y }) {
  const long = 0.03;
  return [[Math.max(0, x - long), y, 2 * long, 0.0005], [x, Math.max(0, y - long), 0.0005, 2 * long]];
}
