// A second photo beside the first, zoomed and moved together: another visit, a neighbour, an example.
import { element, stage } from "./dom.js";
import { View } from "./view.js";

export class Beside {
  // `item()` is the photo that is shown, with its siblings; `meaning()` the tag's meaning, with its examples.
  constructor(view, root, item, meaning) {
    Object.assign(this, { view, root, item, meaning, open: false, linked: false });
  }

  make() {
    const { picture, marks, paper, frame } = stage("The photo beside");
    this.choice = element("select", { "aria-label": "Which photo to compare with", onchange: () => this.show() });
    this.place = element("div", { class: "besideframe" }, element("div", { class: "toolbar" }, this.choice,
      element("button", { type: "button", "aria-label": "Close the photo beside", text: "×", onclick: () => this.toggle() })), frame);
    this.view.frame.parentElement.append(this.place);
    this.second = new View(frame, paper, picture, marks, () => {}, { onPlace: (where) => this.follows(this.view, where) });
    this.view.onPlace = (where) => this.follows(this.second, where);
  }

  follows(other, where) {
    if (!this.open || this.linked || !other.item) return;
    this.linked = true;
    other.goTo(where);
    this.linked = false;
  }

  toggle() {
    if (!this.place) this.make();
    this.open = !this.open;
    this.place.hidden = !this.open;
    if (this.open) { this.fill(); this.choice.focus(); }
  }

  follow() { if (this.open) this.fill(); }

  options() {
    const { siblings, sha, visit } = this.item();
    const here = siblings.findIndex((one) => one.sha === sha);
    const neighbours = [[here + 1, "Next"], [here - 1, "Previous"]].filter(([place]) => siblings[place]).map(([place, words]) => ({ ...siblings[place], words: `${words}: ${siblings[place].name}` }));
    const visits = siblings.filter((one) => one.visit !== visit).map((one) => ({ ...one, words: `${one.visit || "no known day"}: ${one.name}` }));
    const examples = ((this.meaning() || {}).examples || []).map((one) => ({ sha: one.picture, name: one.words, words: one.words, picture: one.picture, full: one.picture }));
    const named = new Set([sha, ...neighbours.map((one) => one.sha), ...visits.map((one) => one.sha)]);
    const others = siblings.filter((one) => !named.has(one.sha)).map((one) => ({ ...one, words: one.name }));
    return [["Another visit", visits], ["The neighbors", neighbours], ["Examples", examples], ["The others", others]].filter(([, rows]) => rows.length);
  }

  fill() {
    this.rows = [];
    const groups = this.options().map(([label, rows]) => element("optgroup", { label }, ...rows.map((one) => {
      this.rows.push(one);
      return element("option", { value: String(this.rows.length - 1), text: one.words });
    })));
    this.choice.replaceChildren(...groups);
    this.show();
  }

  async show() {
    const one = this.rows[Number(this.choice.value)];
    if (!one) return;
    if (!one.width) {
      const picture = new Image();
      picture.src = one.picture;
      try { await picture.decode(); } catch { return; }
      [one.width, one.height] = [picture.naturalWidth, picture.naturalHeight];
    }
    this.second.show(one);
    this.second.goTo(this.view.relative());
  }
}
