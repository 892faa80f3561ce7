// The photo on its stage: fitting, zooming, turning, moving, and the marks drawn over it.
// Boxes are [x, y, width, height] in fractions of the upright photo; a zero-size box is a spot.
// Marks are drawn in the screen's pixels, so that a line is as wide on every photo and at every zoom.
import { MARK, drawBox, drawGrid, hit } from "./marks.js";

const DRAG_PX = 5;
const FULL_FROM_PX = 1700;
const MOST_ZOOM = 8;
const turned = new Map();   // how often a photo was turned by hand, as long as the page stands

const painted = () => new Promise((done) => {
  const late = setTimeout(done, 200);   // a page in the background paints nothing
  requestAnimationFrame(() => requestAnimationFrame(() => { clearTimeout(late); done(); }));
});

export class View {
  // `onMark(box)` takes a new mark; `onChange(boxes)` the own marks after one was moved or deleted.
  constructor(frame, paper, picture, marks, onMark, { marking = false, onChange = null, onPlace = null } = {}) {
    Object.assign(this, { frame, paper, picture, marks, onMark, onChange, onPlace, marking });
    this.scale = 1; this.x = 0; this.y = 0; this.turns = 0; this.layers = []; this.grid = null; this.whole = true;
    this.chosen = -1; this.pointers = new Map(); this.cursor = null; this.since = 0;
    this.drawn = Promise.resolve(false);
    new ResizeObserver(() => (this.whole ? this.fit() : this.place())).observe(frame);
    frame.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
    frame.addEventListener("pointerdown", (event) => this.down(event));
    frame.addEventListener("pointermove", (event) => { this.cursor = event; });
    frame.addEventListener("pointerleave", () => { this.cursor = null; });
    // two fingers zoom this photo, never the page
    for (const kind of ["touchstart", "touchmove"]) frame.addEventListener(kind, (event) => { if (event.touches.length > 1 && event.cancelable) event.preventDefault(); }, { passive: false });
    frame.addEventListener("contextmenu", (event) => event.preventDefault());
    this.setMarking(marking);
  }

  setMarking(on) {
    this.marking = on;
    this.frame.classList.toggle("marking", on);
    this.choose(-1);
  }

  // ---- showing ------------------------------------------------------------------------------------------

  // Shows a photo; the stage is blank until its own picture is decoded. Resolves to whether it is on the screen.
  show(item) {
    const same = this.item && this.item.sha === item.sha;
    const kept = this.item && !same && !this.whole ? this.relative() : null;
    this.item = item;
    if (same && this.frame.dataset.state !== "failed") return this.drawn;
    this.turns = turned.get(item.sha) || 0;
    this.choose(-1);
    this.picture.alt = `Photo ${item.name}`;
    this.drawn = this.load(item);
    if (kept) this.goTo(kept);
    else if (!same) this.fit();
    return this.drawn;
  }

  get ready() { return this.frame.dataset.state === "drawn"; }

  async load(item) {
    this.frame.dataset.state = "loading";
    this.loadedFull = false;
    this.since = 0;
    this.picture.src = item.picture;
    try { await this.picture.decode(); } catch {
      if (this.item === item || this.item.sha === item.sha) this.frame.dataset.state = "failed";
      return false;
    }
    if (this.item.sha !== item.sha) return false;
    this.frame.dataset.state = "drawn";
    this.place();
    await painted();
    if (this.item.sha !== item.sha) return false;
    this.since = performance.now();
    return true;
  }

  again() { if (this.item) { this.drawn = this.load(this.item); } return this.drawn; }

  // Waits until the photo has stood on the screen for a moment; false where it could not be shown.
  async stoodFor(ms) {
    for (;;) {
      const now = this.drawn;
      const shown = await now;
      if (now !== this.drawn) continue;
      if (!shown) return false;
      const left = this.since + ms - performance.now();
      if (left <= 0) return true;
      await new Promise((done) => setTimeout(done, left));
    }
  }

  get size() { return this.frame.getBoundingClientRect(); }

  // The photo's width and height as it stands on the stage, in photo pixels.
  get upright() {
    const { width, height } = this.item;
    return this.turns % 2 ? [height, width] : [width, height];
  }

  get least() {
    const { width, height } = this.size;
    const [w, h] = this.upright;
    return Math.min(width / w, height / h);
  }

  fit() {
    if (!this.item) return;
    const { width, height } = this.size;
    if (!width || !height) return;
    this.whole = true;
    this.scale = this.least;
    this.place();
  }

  // Zoom and middle, free of the photo's and the stage's size: what stays from photo to photo.
  relative() {
    const { width, height } = this.size;
    const [w, h] = this.upright;
    return {
      zoom: this.whole ? 1 : this.scale / this.least,
      across: (width / 2 - this.x) / (w * this.scale), down: (height / 2 - this.y) / (h * this.scale),
    };
  }

  goTo({ zoom, across, down }) {
    if (zoom <= 1.001) { this.fit(); return; }
    const { width, height } = this.size;
    const [w, h] = this.upright;
    this.whole = false;
    this.scale = this.least * zoom;
    this.x = width / 2 - across * w * this.scale;
    this.y = height / 2 - down * h * this.scale;
    this.place();
  }

  zoom(factor, at = null) { this.zoomTo(this.scale * factor, at); }

  zoomTo(wanted, at = null) {
    if (!this.item) return;
    const { width, height, left, top } = this.size;
    const point = at ? [at.clientX - left, at.clientY - top] : [width / 2, height / 2];
    const least = this.least;
    const scale = Math.max(least, Math.min(Math.max(MOST_ZOOM, least), wanted));
    if (scale === least) { this.fit(); this.moved(); return; }
    this.x = point[0] - (point[0] - this.x) * (scale / this.scale);
    this.y = point[1] - (point[1] - this.y) * (scale / this.scale);
    this.scale = scale;
    this.whole = false;
    this.place();
    this.moved();
  }

  // One photo pixel on one pixel of the screen, at the cursor where there is one.
  pixels() { this.zoomTo(1 / (window.devicePixelRatio || 1), this.cursor); }

  turn() {
    if (!this.item) return;
    this.turns = (this.turns + 1) % 4;
    turned.set(this.item.sha, this.turns);
    this.fit();
  }

  pan(right, down) {
    if (this.whole) return;
    this.x -= right; this.y -= down;
    this.place();
    this.moved();
  }

  moved() { if (this.onPlace) this.onPlace(this.relative()); }

  place() {
    if (!this.item) return;
    const { width, height } = this.size;
    const [pw, ph] = this.upright;
    const [w, h] = [pw * this.scale, ph * this.scale];
    this.x = w <= width ? (width - w) / 2 : Math.min(0, Math.max(width - w, this.x));
    this.y = h <= height ? (height - h) / 2 : Math.min(0, Math.max(height - h, this.y));
    const { width: iw, height: ih } = this.item;
    const turn = ["", ` matrix(0, 1, -1, 0, ${ih}, 0)`, ` matrix(-1, 0, 0, -1, ${iw}, ${ih})`, ` matrix(0, -1, 1, 0, 0, ${iw})`][this.turns];
    this.paper.style.width = `${iw}px`;
    this.paper.style.height = `${ih}px`;
    this.paper.style.transform = `translate(${this.x}px, ${this.y}px) scale(${this.scale})${turn}`;
    this.frame.classList.toggle("zoomed", !this.whole);
    if (this.ready && this.scale * Math.max(iw, ih) > FULL_FROM_PX) this.loadFull();
    this.draw();
  }

  loadFull() {
    const item = this.item;
    if (this.loadedFull || Math.max(item.width, item.height) <= 1600) return;
    this.loadedFull = true;
    const all = new Image();
    all.src = item.full;
    all.decode().then(() => { if (this.item.sha === item.sha) this.picture.src = item.full; }).catch(() => {});
  }

  // ---- from the screen to the photo and back ---------------------------------------------------------------

  // Fractions of the upright photo -> pixels of the stage.
  toStage([u, v]) {
    const [a, b] = [[u, v], [1 - v, u], [1 - u, 1 - v], [v, 1 - u]][this.turns];
    const [w, h] = this.upright;
    return [this.x + a * w * this.scale, this.y + b * h * this.scale];
  }

  fraction(event) {
    const { left, top } = this.size;
    const [w, h] = this.upright;
    const inside = (value) => Math.min(1, Math.max(0, value));
    const a = inside((event.clientX - left - this.x) / (w * this.scale));
    const b = inside((event.clientY - top - this.y) / (h * this.scale));
    return [[a, b], [b, 1 - a], [1 - a, 1 - b], [1 - b, a]][this.turns];
  }

  // ---- pointers ---------------------------------------------------------------------------------------------

  wheel(event) {
    event.preventDefault();
    this.zoom(Math.exp(-event.deltaY * 0.0016), event);
  }

  get own() { return this.layers.filter((one) => one.kind === "mine").flatMap((one) => one.boxes); }

  down(event) {
    if (!this.item || !this.ready || event.target.closest("button")) return;
    const touch = event.pointerType === "touch";
    if (!touch) event.preventDefault();
    this.frame.focus({ preventScroll: true });
    this.pointers.set(event.pointerId, event);
    if (this.pointers.size === 2) { this.pinched = true; }
    const start = this.fraction(event);
    const moving = event.button !== 0 || event.shiftKey || !this.marking || touch;
    const own = this.marking && event.button === 0 ? hit(this.own, (point) => this.toStage(point), this.stagePoint(event), touch ? MARK.finger : MARK.reach) : -1;
    const held = own >= 0 ? this.own[own] : null;
    const drags = held && (!touch || own === this.chosen);   // a finger first chooses a mark, then moves it: a swipe must scroll
    this.choose(own);
    let [last, far] = [event, false];
    const shifted = (now) => {
      const [u, v] = this.fraction(now);
      const inside = (value, size) => Math.min(1 - size, Math.max(0, value));
      return [inside(held[0] + u - start[0], held[2]), inside(held[1] + v - start[1], held[3]), held[2], held[3]];
    };
    const move = (now) => {
      if (now.pointerId !== event.pointerId) return;
      if (this.pointers.size === 2) { this.pinch(now); last = now; return; }
      far ||= Math.hypot(now.clientX - event.clientX, now.clientY - event.clientY) > DRAG_PX;
      if (drags) { if (far) this.draw([{ boxes: [shifted(now)], kind: "mine" }], own); }
      else if (moving) {
        if (!this.whole) this.frame.classList.add("panning");
        this.pan(last.clientX - now.clientX, last.clientY - now.clientY);
      } else if (far) this.draw([{ boxes: [between(start, this.fraction(now))], kind: "mine" }]);
      last = now;
    };
    const stop = () => {
      this.pointers.delete(event.pointerId);
      this.frame.removeEventListener("pointermove", move);
      this.frame.removeEventListener("pointerup", up);
      this.frame.removeEventListener("pointercancel", cancel);
      this.frame.classList.remove("panning");
    };
    const cancel = (end) => { if (end.pointerId === event.pointerId) { stop(); this.draw(); } };
    const up = (end) => {
      if (end.pointerId !== event.pointerId) return;
      stop();
      const pinched = this.pinched;
      if (!this.pointers.size) this.pinched = false;
      this.draw();
      if (pinched || !this.marking || event.button !== 0 || event.shiftKey) return;
      if (touch && far && !drags) return;   // a swipe never marks
      if (held) { if (far && this.onChange) this.onChange(this.own.map((box, place) => (place === own ? shifted(end) : box))); return; }
      this.onMark(far ? between(start, this.fraction(end)) : [...start, 0, 0]);
    };
    try { this.frame.setPointerCapture(event.pointerId); } catch { /* the pointer is gone already */ }
    this.frame.addEventListener("pointermove", move);
    this.frame.addEventListener("pointerup", up);
    this.frame.addEventListener("pointercancel", cancel);
  }

  stagePoint(event) {
    const { left, top } = this.size;
    return [event.clientX - left, event.clientY - top];
  }

  pinch(now) {
    const other = [...this.pointers.values()].find((one) => one.pointerId !== now.pointerId);
    const before = this.pointers.get(now.pointerId);
    const apart = (one) => Math.hypot(one.clientX - other.clientX, one.clientY - other.clientY) || 1;
    this.zoom(apart(now) / apart(before), { clientX: (now.clientX + other.clientX) / 2, clientY: (now.clientY + other.clientY) / 2 });
    this.pan((before.clientX - now.clientX) / 2, (before.clientY - now.clientY) / 2);
    this.pointers.set(now.pointerId, now);
  }

  // ---- marks ------------------------------------------------------------------------------------------------

  // The mark that is to be moved or deleted; -1 for none. While one is chosen a finger moves it and does not scroll.
  choose(place) {
    this.chosen = place;
    this.frame.classList.toggle("holding", place >= 0);
    this.draw();
  }

  // Deletes the chosen own mark, else the last one; returns whether there was one.
  deleteMark() {
    const own = this.own;
    if (!own.length || !this.onChange) return false;
    const which = this.chosen >= 0 && this.chosen < own.length ? this.chosen : own.length - 1;
    this.choose(-1);
    this.onChange(own.filter((_, place) => place !== which));
    return true;
  }

  setLayers(layers) { this.layers = layers; this.draw(); }

  draw(more = [], without = -1) {
    if (!this.marks) return;
    this.marks.replaceChildren();
    if (!this.item || !this.ready) return;
    const to = (point) => this.toStage(point);
    let own = 0;
    for (const { boxes, kind } of [...this.layers, ...more]) {
      for (const box of boxes) {
        const place = kind === "mine" ? own++ : -1;
        if (place >= 0 && place === without) continue;
        drawBox(this.marks, box, place >= 0 && place === this.chosen ? "mine chosen" : kind, to);
      }
    }
    if (this.grid) drawGrid(this.marks, this.grid, to);
  }
}

export function between([x0, y0], [x1, y1]) {
  return [Math.min(x0, x1), Math.min(y0, y1), Math.abs(x1 - x0), Math.abs(y1 - y0)];
}
