// Marks in the screen's pixels: a line has one width, a spot one size and one reach at any photo and zoom.
import { SVG } from "./dom.js";

export const MARK = { spot: 11, tileSpot: 9, reach: 12, finger: 24 };
export const SQUARES = [[..."abcdefgh"], [..."123456"]];

function shape(name, attributes) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  return made;
}

function placed([x, y, w, h], to) {
  const [[x0, y0], [x1, y1]] = [to([x, y]), to([x + w, y + h])];
  return { x: Math.min(x0, x1), y: Math.min(y0, y1), width: Math.abs(x1 - x0), height: Math.abs(y1 - y0) };
}

// Draws a box or a spot; `to` leads from fractions of the photo to pixels of the drawing.
export function drawBox(into, box, kind, to, spot = MARK.spot) {
  const spots = box[2] === 0 && box[3] === 0;
  const at = placed(box, to);
  const where = spots ? { cx: at.x, cy: at.y, r: spot } : at;
  for (const look of ["under", kind]) into.append(shape(spots ? "circle" : "rect", { ...where, class: `mark ${look}` }));
}

// Draws boxes over a whole picture that lies in the drawing from corner to corner.
export function paintBoxes(into, layers, width, height, spot = MARK.tileSpot) {
  into.setAttribute("viewBox", `0 0 ${width} ${height}`);
  into.replaceChildren();
  for (const { boxes, kind } of layers) for (const box of boxes) drawBox(into, box, kind, ([u, v]) => [u * width, v * height], spot);
}

// Returns which mark lies within reach of a point of the stage, the nearest first; -1 for none.
export function hit(boxes, to, [px, py], reach) {
  const far = boxes.map((box) => {
    const { x, y, width, height } = placed(box, to);
    if (!box[2] && !box[3]) return Math.hypot(x - px, y - py) - reach * 0.5;
    const [dx, dy] = [Math.max(x - px, px - x - width), Math.max(y - py, py - y - height)];
    return Math.max(dx, dy) <= 0 ? Math.min(-dx, -dy) : Math.hypot(Math.max(dx, 0), Math.max(dy, 0));   // its rim
  });
  const best = far.indexOf(Math.min(...far));
  return best >= 0 && far[best] <= reach ? best : -1;
}

export function drawGrid(into, [letters, numbers], to) {
  const line = (from, end) => {
    const [[x1, y1], [x2, y2]] = [to(from), to(end)];
    into.append(shape("line", { class: "gridline", x1, y1, x2, y2 }));
  };
  letters.forEach((letter, column) => {
    line([column / letters.length, 0], [column / letters.length, 1]);
    numbers.forEach((number, row) => {
      if (!column) line([0, row / numbers.length], [1, row / numbers.length]);
      const cell = placed([column / letters.length, row / numbers.length, 1 / letters.length, 1 / numbers.length], to);
      const name = shape("text", { class: "gridname", x: cell.x + 6, y: cell.y + 16, "font-size": 13 });
      name.textContent = `${letter}${number}`;
      into.append(name);
    });
  });
}
