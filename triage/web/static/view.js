// The photo on its paper: fitting, zooming, moving, and the marks drawn over it.
// Boxes are [x, y, width, height] in fractions of the upright photo; a zero-size box is a spot.
const SVG = "http://www.w3.org/2000/svg";
const SPOT_PX = 11;
const DRAG_PX = 5;

export class View {
  constructor(frame, paper, picture, marks, onMark) {
    Object.assign(this, { frame, paper, picture, marks, onMark });
    this.scale = 1; this.x = 0; this.y = 0; this.layers = []; this.grid = null; this.whole = true;
    this.canMark = true;
    new ResizeObserver(() => (this.whole ? this.fit() : this.place())).observe(frame);
    frame.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
    frame.addEventListener("pointerdown", (event) => this.down(event));
    frame.addEventListener("contextmenu", (event) => event.preventDefault());
  }

  show(item) {
    const same = this.item && this.item.sha === item.sha;
    this.item = item;
    if (same) return;
    this.loadedFull = false;
    this.paper.style.width = `${item.width}px`;
    this.paper.style.height = `${item.height}px`;
    this.marks.setAttribute("viewBox", `0 0 ${item.width} ${item.height}`);
    this.picture.src = item.picture;
    this.picture.alt = `Photo ${item.name}`;
    this.fit();
  }

  get size() { return this.frame.getBoundingClientRect(); }

  fit() {
    if (!this.item) return;
    const { width, height } = this.size;
    if (!width || !height) return;
    this.whole = true;
    this.scale = Math.min(width / this.item.width, height / this.item.height);
    this.x = (width - this.item.width * this.scale) / 2;
    this.y = (height - this.item.height * this.scale) / 2;
    this.place();
  }

  zoom(factor, at = null) {
    const { width, height, left, top } = this.size;
    const point = at ? [at.clientX - left, at.clientY - top] : [width / 2, height / 2];
    const least = Math.min(width / this.item.width, height / this.item.height);
    const scale = Math.max(least, Math.min(8, this.scale * factor));
    if (scale === least) return this.fit();
    this.x = point[0] - (point[0] - this.x) * (scale / this.scale);
    this.y = point[1] - (point[1] - this.y) * (scale / this.scale);
    this.scale = scale;
    this.whole = false;
    this.place();
  }

  pixels() { this.zoom(1 / this.scale / (window.devicePixelRatio || 1)); }

  pan(right, down) {
    if (this.whole) return;
    this.x -= right; this.y -= down;
    this.place();
  }

  place() {
    if (!this.item) return;
    const { width, height } = this.size;
    const [w, h] = [this.item.width * this.scale, this.item.height * this.scale];
    this.x = w <= width ? (width - w) / 2 : Math.min(0, Math.max(width - w, this.x));
    this.y = h <= height ? (height - h) / 2 : Math.min(0, Math.max(height - h, this.y));
    this.paper.style.transform = `translate(${this.x}px, ${this.y}px) scale(${this.scale})`;
    if (this.scale * Math.max(this.item.width, this.item.height) > 1700) this.loadFull();
    this.draw();
  }

  loadFull() {
    const item = this.item;
    if (this.loadedFull || Math.max(item.width, item.height) <= 1600) return;
    this.loadedFull = true;
    const all = new Image();
    all.src = item.full;
    all.decode().then(() => { if (this.item === item) this.picture.src = item.full; }).catch(() => {});
  }

  wheel(event) {
    event.preventDefault();
    if (this.item) this.zoom(Math.exp(-event.deltaY * 0.0016), event);
  }

  fraction(event) {
    const box = this.paper.getBoundingClientRect();
    const inside = (value) => Math.min(1, Math.max(0, value));
    return [inside((event.clientX - box.left) / box.width), inside((event.clientY - box.top) / box.height)];
  }

  down(event) {
    if (!this.item) return;
    const moving = event.button !== 0 || event.shiftKey || !this.canMark;
    event.preventDefault();
    this.frame.focus({ preventScroll: true });
    this.frame.setPointerCapture(event.pointerId);
    const start = this.fraction(event);
    let [lastX, lastY, far] = [event.clientX, event.clientY, false];
    const move = (now) => {
      far ||= Math.hypot(now.clientX - event.clientX, now.clientY - event.clientY) > DRAG_PX;
      if (moving) {
        this.frame.classList.add("panning");
        this.pan(lastX - now.clientX, lastY - now.clientY);
        [lastX, lastY] = [now.clientX, now.clientY];
      } else if (far) this.draw([{ boxes: [between(start, this.fraction(now))], kind: "mine" }]);
    };
    const stop = () => {
      this.frame.removeEventListener("pointermove", move);
      this.frame.removeEventListener("pointerup", up);
      this.frame.removeEventListener("pointercancel", stop);
      this.frame.classList.remove("panning");
      this.draw();
    };
    const up = (end) => {
      stop();
      if (moving) return;
      this.onMark(far ? between(start, this.fraction(end)) : [...start, 0, 0]);
    };
    this.frame.addEventListener("pointermove", move);
    this.frame.addEventListener("pointerup", up);
    this.frame.addEventListener("pointercancel", stop);
  }

  setLayers(layers) { this.layers = layers; this.draw(); }

  draw(more = []) {
    this.marks.replaceChildren();
    if (!this.item) return;
    for (const { boxes, kind } of [...this.layers, ...more]) {
      for (const box of boxes) drawBox(this.marks, box, kind, this.item, SPOT_PX / this.scale);
    }
    if (this.grid) this.drawGrid();
  }

  drawGrid() {
    const [letters, numbers] = this.grid;
    const { width, height } = this.item;
    letters.forEach((letter, place) => {
      const x = (place * width) / letters.length;
      this.marks.append(shape("line", { class: "gridline", x1: x, x2: x, y1: 0, y2: height }));
      numbers.forEach((number, row) => {
        const y = (row * height) / numbers.length;
        if (!place) this.marks.append(shape("line", { class: "gridline", x1: 0, x2: width, y1: y, y2: y }));
        const name = shape("text", { class: "gridname", x: x + 6 / this.scale, y: y + 16 / this.scale, "font-size": 13 / this.scale });
        name.textContent = `${letter}${number}`;
        this.marks.append(name);
      });
    });
  }
}

export function between([x0, y0], [x1, y1]) {
  return [Math.min(x0, x1), Math.min(y0, y1), Math.abs(x1 - x0), Math.abs(y1 - y0)];
}

function shape(name, attributes) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  return made;
}

export function drawBox(into, [x, y, w, h], kind, { width, height }, spot) {
  const spots = w === 0 && h === 0;
  const where = spots
    ? { cx: x * width, cy: y * height, r: spot }
    : { x: x * width, y: y * height, width: w * width, height: h * height };
  for (const look of ["under", kind]) into.append(shape(spots ? "circle" : "rect", { ...where, class: `mark ${look}` }));
}
