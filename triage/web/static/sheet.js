// The contact sheet: choosing photos and saying which parts they show. Two ways: photos first, then every part that
// they show; or, with no photo chosen, parts first: these are held, and every photo that is clicked shows them.
import { complain, inOrder, post, tell } from "./common.js";
import { Seen, unseenWords } from "./seen.js";
import { wrongAt } from "./forms.js";
import { showKeys } from "./keys.js";
import "./viewer.js";

const sheet = document.getElementById("sheet");
const panel = document.getElementById("panel");
const ticks = [...sheet.querySelectorAll(".pick input")];
const seen = new Seen([...sheet.querySelectorAll(".tile")], Number(sheet.dataset.least) || 0);
let lastTick = null;
const held = new Map();   // parts that the next photos show, and how
let spent = false;   // the chosen photos were given a part: they stay for a further one, the next click chooses again

const chosen = () => ticks.filter((tick) => tick.checked);

const plain = { unclear: " (poorly)", absent: " (does not show)" };
function count() {
  const number = chosen().length;
  for (const button of panel.querySelectorAll("[data-part]")) {
    const how = held.get(button.dataset.part);
    button.setAttribute("aria-pressed", String(Boolean(how)));
    button.dataset.held = how || "";
  }
  sheet.classList.toggle("giving", held.size > 0);
  const bar = panel.querySelector("#held");
  if (bar) bar.hidden = !held.size;
  if (held.size) panel.querySelector("#heldparts").textContent = [...held].map(([part, how]) => `${nameOf(part)}${plain[how] || ""}`).join(", ");
  if (held.size) return;
  panel.querySelector("#chosen").textContent = !number ? "No photo chosen." : `${number} chosen.${spent ? " Another part for the same ones, or click a photo to choose again." : ""}`;
}

sheet.addEventListener("click", (event) => {
  const tick = event.target.closest(".pick input");
  if (!tick) return;
  if (held.size) { give(tick, event.shiftKey); return; }
  if (spent && !event.shiftKey && !event.ctrlKey && !event.metaKey) {
    choose(false);
    tick.checked = true;
  }
  spent = false;
  if (event.shiftKey && lastTick) {
    const [from, to] = [ticks.indexOf(lastTick), ticks.indexOf(tick)].sort((a, b) => a - b);
    for (const one of ticks.slice(from, to + 1)) one.checked = lastTick.checked;
  }
  lastTick = tick;
  count();
});

// A Shift-click on a picture must not select text.
sheet.addEventListener("mousedown", (event) => { if (event.shiftKey) event.preventDefault(); });

panel.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  if (button.dataset.choose) choose(button.dataset.choose === "all");
  else if (button.dataset.drop) { held.clear(); count(); }
  else if (button.dataset.part) part(button.dataset.part, event.shiftKey ? "unclear" : panel.querySelector("#as").value);
  else if (button.dataset.set) set(JSON.parse(button.dataset.set));
  else if (button.dataset.rest) rest();
  else if (button.dataset.undo) undo();
});

panel.addEventListener("submit", (event) => {
  const form = event.target.closest("form[data-chosen]");
  if (!form) return;
  const photos = chosen().map((tick) => tick.value);
  if (!photos.length) { event.preventDefault(); tell("Choose some photos first."); return; }
  form.elements.photos.value = photos.join(",");
});

const nameOf = (one) => panel.querySelector(`[data-part="${CSS.escape(one)}"] span`).textContent;

function part(name, value) {
  if (chosen().length) { mark({ [name]: value }); return; }
  if (held.get(name) === value) held.delete(name);
  else held.set(name, value);
  count();
}

// A set says everything of a photo: after one was given, the next one is for the photos that are clicked next.
function set(parts) {
  if (chosen().length && !spent) { mark(parts); return; }
  choose(false);
  held.clear();
  for (const [name, value] of Object.entries(parts)) held.set(name, value);
  count();
}

// A click gives the held parts to a photo, with Shift to the run from the last one on.
function give(tick, run) {
  tick.checked = false;
  let given = [tick];
  if (run && lastTick) {
    const [from, to] = [ticks.indexOf(lastTick), ticks.indexOf(tick)].sort((a, b) => a - b);
    given = ticks.slice(from, to + 1).filter((one) => one !== lastTick);
  }
  lastTick = tick;
  send("parts", { photos: given.map((one) => one.value), elements: Object.fromEntries(held), ...placeAndCount() });
}

function choose(all) { for (const tick of ticks) tick.checked = all; spent = false; count(); }

function mark(elements) {
  const photos = chosen().map((tick) => tick.value);
  send("parts", { photos, elements, ...placeAndCount() });
}

function placeAndCount() {
  const field = panel.querySelector("#count");
  const number = field.value.trim();
  if (number && !/^\d+$/.test(number)) { wrongAt(field, "Write a whole number, or leave it empty."); field.focus(); return { count: null, bad: true }; }
  return { place: panel.querySelector("#place").value, count: number ? Number(number) : null };
}

function rest() {
  const found = seen.demand([...sheet.querySelectorAll(".tile")]);
  if (found.missing) { tell(unseenWords(found)); return; }
  send("parts/rest", { photos: ticks.map((tick) => tick.value), hanging: panel.querySelector("#hanging").checked });
}

function send(where, data) {
  if (data.bad) return;
  const given = chosen();
  spent = given.length > 0;   // at once: the next click chooses anew, whether or not this was saved by then
  count();
  inOrder(() => post(where, { deck: sheet.dataset.deck, ...data })).then((told) => {
    if (told.next) { location.href = told.next; return; }
    calm(() => {
      show(told);
      tell(told.told);
    });
  }).catch((error) => {
    spent = false;
    if (given.length) { choose(false); for (const tick of given) tick.checked = true; }
    count();
    complain(error);
  });
}

function show({ panel: now, captions }) {
  const [sets, place, number, as] = [panel.querySelector(".partsets"), ...["#place", "#count", "#as"].map((one) => panel.querySelector(one)?.value)];
  panel.innerHTML = now;
  keepOrder(sets);
  for (const [one, value] of [["#place", place], ["#count", number], ["#as", as]]) if (value) panel.querySelector(one).value = value;
  for (const [sha, caption] of Object.entries(captions)) {
    const line = sheet.querySelector(`[data-cap="${sha}"]`);
    if (line) line.innerHTML = caption;
  }
  count();
}

// Sets stay where they are as long as the page stands, and new ones come after them: a hand that is on its way to one
// must not meet another.
function keepOrder(before) {
  const now = panel.querySelector(".partsets");
  if (!before || !now) return;
  const known = new Set([...before.children].map((one) => one.dataset.set));
  for (const one of [...now.children]) if (!known.has(one.dataset.set)) before.append(one);
  now.replaceWith(before);
}

// What an answer changes on the page is changed when no button is held down: a click ends where it began.
let pressed = false;
let later = [];
function calm(act) { if (pressed) later.push(act); else act(); }
document.addEventListener("pointerdown", () => { pressed = true; }, true);
for (const kind of ["pointerup", "pointercancel"]) document.addEventListener(kind, () => setTimeout(() => {
  pressed = false;
  for (const act of later.splice(0)) act();
}, 0), true);

document.addEventListener("keydown", (event) => {
  if (document.querySelector("dialog[open]")) return;
  if (event.key === "Enter" && event.target.matches(".pick input")) {
    event.preventDefault();
    event.target.closest(".tile").querySelector("[data-view-photo]").click();
    return;
  }
  if (event.target.closest("input:not([type=checkbox]), textarea, select") || event.altKey) return;
  if ((event.ctrlKey || event.metaKey) && event.key === "a") { event.preventDefault(); choose(true); return; }
  if (event.ctrlKey || event.metaKey) return;
  if (event.key === "?") showKeys(["sheet"]);
  else if (event.key === "Escape") { held.clear(); choose(false); }
  else if (event.key === "u") undo();
  else if (event.key.startsWith("Arrow")) move(event);
});

function undo() {
  inOrder(() => post("undo", {})).then((told) => { tell(told.told); setTimeout(() => location.reload(), 900); }).catch(complain);
}

function move(event) {
  const here = ticks.indexOf(document.activeElement);
  if (here < 0) return;
  const tops = ticks.map((tick) => Math.round(tick.getBoundingClientRect().top));
  const columns = Math.max(1, tops.filter((top) => top === tops[here]).length);
  const by = { ArrowLeft: -1, ArrowRight: 1, ArrowUp: -columns, ArrowDown: columns }[event.key];
  const next = ticks[here + by];
  if (!next) return;
  event.preventDefault();
  next.focus();
  next.closest(".tile").scrollIntoView({ block: "nearest" });
}

count();
