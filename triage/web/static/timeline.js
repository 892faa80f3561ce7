// Drags the boundary between two stays; the server moves the photos.
const drawing = document.getElementById("timeline");
const form = document.getElementById("shift");
const MARGIN = 24, WIDTH = 1000;
let held = null;

function across(event) {
  const box = drawing.getBoundingClientRect();
  return ((event.clientX - box.left) / box.width) * WIDTH;
}

function move(event) {
  if (held) held.setAttribute("transform", `translate(${across(event) - Number(held.dataset.x)} 0)`);
}

function drop(event) {
  if (!held) return;
  const handle = held;
  held = null;
  const x = Math.min(WIDTH - MARGIN, Math.max(MARGIN, across(event)));
  if (Math.abs(x - Number(handle.dataset.x)) < 3) { handle.removeAttribute("transform"); return; }
  const part = (x - MARGIN) / (WIDTH - 2 * MARGIN);
  for (const name of ["phone", "left", "right"]) form.elements[name].value = handle.dataset[name];
  form.elements.at.value = String(Number(drawing.dataset.first) + part * Number(drawing.dataset.span));
  form.requestSubmit();
}

for (const handle of drawing ? drawing.querySelectorAll(".handle") : []) {
  handle.addEventListener("pointerdown", (event) => { held = handle; event.preventDefault(); });
}
window.addEventListener("pointermove", move);
window.addEventListener("pointerup", drop);
