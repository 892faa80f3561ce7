// The viewer: a window over a page, photos one after the other, zoomed, turned, and where the page takes answers
// marked and answered. It knows no server; the page that opens it gives photos and takes answers.
import { Beside } from "./beside.js";
import { capital, element, stage } from "./dom.js";
import { showKeys } from "./keys.js";
import { Turns } from "./turns.js";
import { View } from "./view.js";

const LOOK_MS = 300;   // flicked past is not looked at
const WORDS = { present: "yes", absent: "no", unclear: "cannot tell" };

export class Viewer {
  // `photo(sha)` resolves to what is shown; `asks(photo)` to null or { words, value, boxes, others };
  // `answer(photo, value, boxes)` keeps an answer, `undo()` takes the last one back and resolves to its photo's
  // hash; `closed(sha)` is told when the viewer was closed; `said` is where the page tells what was done.
  constructor({ photo, asks = () => null, answer = null, undo = null, closed = () => {}, meaning = () => null, tell, complain, said }) {
    Object.assign(this, { photo, asks, answer, undo, closed, meaning, tell, complain, said, list: [], at: 0, item: null });
    this.build();
  }

  build() {
    const button = (words, does, title, label = null) => element("button", { type: "button", text: words, title, "aria-label": label, onclick: does });
    const { picture, marks, paper, frame } = stage("Photo");
    this.frame = frame;
    this.name = element("span", { class: "grow" });
    this.words = element("span", { class: "asked" });
    this.marker = button("Mark", () => this.mark(), "Mark spots and boxes (k)");
    this.rubber = button("Take mark away", () => this.view.deleteMark(), "Takes away the chosen mark, else the last one (Backspace)");
    this.answers = element("span", { class: "answering" }, this.words, ...["present", "absent", "unclear"].map((value) => {
      const made = button(capital(WORDS[value]), () => this.give(value), `${WORDS[value]} (${value === "present" ? "p" : value[0] === "a" ? "a" : "c"})`);
      made.dataset.value = value;
      return made;
    }), this.marker, this.rubber);
    this.page = element("a", { class: "button", text: "Its page" });
    this.dialog = element("dialog", { class: "closer", "aria-label": "Photo" },
      element("div", { class: "toolbar" },
        button("◀", () => this.go(-1), "Previous (b)", "Previous photo"), this.name, this.answers,
        button("−", () => this.view.zoom(1 / 1.5), "Smaller (-)", "Zoom out"), button("Whole", () => this.view.fit(), "Whole photo (0)"),
        button("+", () => this.view.zoom(1.5), "Larger (+)", "Zoom in"), button("1:1", () => this.view.pixels(), "Every pixel (f)"),
        button("Turn", () => this.view.turn(), "Turn by a quarter (r)"), button("Beside", () => this.beside.toggle(), "A second photo beside it (s)"),
        button("?", () => this.keys(), "All keys (?)", "Keys"), this.page,
        button("▶", () => this.go(1), "Next (n)", "Next photo"), button("Close", () => this.dialog.close(), "Back to the page (Esc)")),
      element("div", { class: "frames" }, this.frame));
    document.body.append(this.dialog);
    this.view = new View(this.frame, paper, picture, marks, (box) => this.marked([...this.boxes, box]), { onChange: (boxes) => this.marked(boxes) });
    this.beside = new Beside(this.view, this.dialog, () => this.item, () => this.meaning(this.item));
    this.turns = new Turns(this.view, () => {}, this.complain);
    this.dialog.addEventListener("keydown", (event) => this.key(event));
    this.dialog.addEventListener("close", () => { this.turns.drop(); document.body.append(this.said); this.closed(this.item && this.item.sha); });
  }

  get boxes() { return this.pending || this.saved; }   // as they are drawn: with those that wait for their turn
  get saved() { const asked = this.asked; return asked && asked.value === "present" ? asked.boxes : []; }

  async open(list, sha) {
    this.list = list;
    this.at = Math.max(0, list.indexOf(sha));
    if (!this.dialog.open) this.dialog.showModal();
    this.dialog.querySelector(".toolbar").after(this.said);   // what is told stands above the photo, not over it
    this.turns.push(() => this.show(), false);
    this.frame.focus();
  }

  async show() {
    const item = await this.photo(this.list[this.at]);
    this.item = item;
    this.asked = this.asks(item);
    this.pending = null;
    this.view.show(item);
    this.view.stoodFor(LOOK_MS).then((stood) => {
      if (stood && this.dialog.open && this.item === item) document.dispatchEvent(new CustomEvent("photoshown", { detail: item.sha }));
    });
    this.beside.follow();
    this.redraw();
    const next = this.list[this.at + 1];
    if (next) this.photo(next).then((one) => { const ahead = new Image(); ahead.src = one.picture; }).catch(() => {});
  }

  redraw() {
    const { item, asked } = this;
    this.name.textContent = `${this.at + 1} of ${this.list.length} · ${item.name}`;
    this.page.hidden = !item.page;
    if (item.page) this.page.href = item.page;
    this.answers.hidden = !asked || !this.answer;
    if (asked) {
      this.words.textContent = `${capital(asked.words)}?`;
      for (const one of this.answers.querySelectorAll("[data-value]")) one.setAttribute("aria-pressed", String(one.dataset.value === asked.value));
    }
    this.marker.setAttribute("aria-pressed", String(this.view.marking));
    this.rubber.hidden = !this.boxes.length;
    this.view.setLayers([...(item.layers || []), { boxes: (asked && asked.others) || [], kind: "other" }, { boxes: this.boxes, kind: "mine" }]);
  }

  go(by) { this.turns.push(() => this.step(by), false); }

  async step(by) {
    if (!this.list[this.at + by]) { this.turns.drop(); this.tell(by > 0 ? "That was the last photo." : "That is the first photo."); return; }
    this.at += by;
    await this.show();
  }

  give(value) { if (this.answer && this.asked) this.turns.push(() => this.keep(value, value === "present" ? this.saved : [], true)); }
  // Marks as they were changed are drawn at once, so that the next change starts from them though they wait for their turn.
  marked(boxes) {
    if (!this.answer || !this.asked) return;
    const { item } = this;
    const settle = () => { if (this.pending === boxes) { this.pending = null; this.redraw(); } };
    const taken = this.turns.push(async () => { try { if (this.item === item) await this.keep("present", boxes, false); } finally { settle(); } }, true, settle);
    if (taken) { this.pending = boxes; this.redraw(); }
  }

  async keep(value, boxes, on) {
    const item = this.item;
    this.asked = { ...this.asked, value, boxes };
    this.redraw();
    await this.answer(item, value, boxes);
    if (on && this.list[this.at + 1]) await this.step(1);
  }

  mark() { if (this.answer && this.asked) { this.view.setMarking(!this.view.marking); this.redraw(); } }
  takeBack() {
    if (this.undo) this.turns.push(async () => {
      const at = this.list.indexOf(await this.undo());
      if (at >= 0) this.at = at;
      await this.show();
    }, false);
  }

  keys() { showKeys([...(this.answer && this.asked ? ["answer", "mark"] : []), ...(this.undo ? ["undo"] : []), "look", "end"]); }

  key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey || event.target.closest("select, input")) return;
    const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    const moves = { ArrowUp: [0, -1], ArrowDown: [0, 1], ArrowLeft: [-1, 0], ArrowRight: [1, 0] }[key];
    if (moves && !this.view.whole && event.target === this.frame) { event.preventDefault(); this.view.pan(120 * moves[0], 120 * moves[1]); return; }
    const act = {
      n: () => this.go(1), b: () => this.go(-1), ArrowRight: () => this.go(1), ArrowLeft: () => this.go(-1),
      p: () => this.give("present"), a: () => this.give("absent"), c: () => this.give("unclear"),
      "+": () => this.view.zoom(1.5), "=": () => this.view.zoom(1.5), "-": () => this.view.zoom(1 / 1.5), 0: () => this.view.fit(),
      u: () => this.takeBack(), f: () => this.view.pixels(), r: () => this.view.turn(), s: () => this.beside.toggle(), k: () => this.mark(), "?": () => this.keys(),
      Backspace: () => this.view.deleteMark(), Delete: () => this.view.deleteMark(),
    }[key];
    if (!act || (event.repeat && "pacu".includes(key))) return;
    event.preventDefault();
    event.stopPropagation();
    act();
  }
}
