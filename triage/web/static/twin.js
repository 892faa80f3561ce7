// Before and after side by side: both pictures zoom and move together, and take an answer when both were shown.
import { address } from "./common.js";
import { View } from "./view.js";

const STOOD_MS = 300;
const STEP = 1.5;

class Twin {
  constructor(root) {
    this.root = root;
    this.linked = false;
    this.views = [...root.querySelectorAll(".frame")].map((frame) => this.view(frame));
  }

  view(frame) {
    // The wheel scrolls the page until a photo is zoomed: a page of many photos must not be a trap for it.
    frame.addEventListener("wheel", (event) => { if (!event.ctrlKey && made.whole) event.stopImmediatePropagation(); }, { capture: true });
    const made = new View(frame, frame.querySelector(".paper"), frame.querySelector("img"), frame.querySelector("svg"), () => {}, { onPlace: (where) => this.follow(made, where) });
    frame.addEventListener("keydown", (event) => this.key(event, made));
    return made;
  }

  follow(from, where) {
    if (this.linked) return;
    this.linked = true;
    for (const one of this.views) if (one !== from && one.item) one.goTo(where);
    this.linked = false;
  }

  zoom(how, view = this.views[0]) {
    if (how === "whole") { for (const one of this.views) one.fit(); return; }
    view.zoom(how === "in" ? STEP : 1 / STEP);
  }

  key(event, view) {
    const how = { "+": "in", "=": "in", "-": "out", "0": "whole" }[event.key];
    const pan = { ArrowLeft: [-40, 0], ArrowRight: [40, 0], ArrowUp: [0, -40], ArrowDown: [0, 40] }[event.key];
    if (!how && (!pan || view.whole)) return;
    event.preventDefault();
    if (how) this.zoom(how, view); else view.pan(...pan);
  }

  // Shows both photos; resolves to whether both stood on the screen.
  async show() {
    const shown = await Promise.all(this.views.map((view) => {
      const { sha, name, width, height, boxes } = view.frame.dataset;
      view.setLayers([{ boxes: JSON.parse(boxes), kind: "other" }]);
      view.show({ sha, name, width: Number(width), height: Number(height), picture: address(`picture/${sha}`), full: address(`full/${sha}`) });
      return view.stoodFor(STOOD_MS);
    }));
    return shown.every(Boolean);
  }
}

const twins = new Map([...document.querySelectorAll(".twin")].map((root) => [root.dataset.line, new Twin(root)]));

for (const keys of document.querySelectorAll("[data-for]")) {
  keys.addEventListener("click", (event) => {
    const button = event.target.closest("[data-zoom]");
    if (button) twins.get(keys.dataset.for).zoom(button.dataset.zoom);
  });
}

// No answer is taken for photos that were not shown: its choices open when both pictures stood in view.
for (const answers of document.querySelectorAll("[data-answers]")) answers.disabled = true;
const watcher = new IntersectionObserver((entries) => {
  for (const { isIntersecting, target } of entries) {
    if (!isIntersecting) continue;
    watcher.unobserve(target);
    twins.get(target.dataset.line).show().then((shown) => {
      const answers = document.querySelector(`[data-answers="${target.dataset.line}"]`);
      if (!shown || !answers) return;
      answers.disabled = false;
      answers.querySelector(`input[name="seen-${target.dataset.line}"]`).value = "yes";
    });
  }
}, { threshold: 0.3 });
for (const root of document.querySelectorAll(".twin")) watcher.observe(root);

// A reason is needed only where something is to be closed.
const round = document.getElementById("round");
if (round) {
  round.addEventListener("change", () => {
    round.querySelector("input[name=why]").required = Boolean(round.querySelector("input[value=repaired]:checked"));
  });
}
