// The contact sheet: choosing photos and saying which parts they show.
import { complain, inOrder, post, tell } from "./common.js";
import { Seen, unseenWords } from "./seen.js";
import { showKeys } from "./keys.js";
import "./viewer.js";

const sheet = document.getElementById("sheet");
const panel = document.getElementById("panel");
const ticks = [...sheet.querySelectorAll(".pick input")];
const seen = new Seen([...sheet.querySelectorAll(".tile")], Number(sheet.dataset.least) || 0);
let lastTick = null;
let spent = false;   // the chosen photos were given a part: they stay for a further one, the next click chooses anew

const chosen = () => ticks.filter((tick) => tick.checked);

function count() {
  const number = chosen().length;
  panel.querySelector("#chosen").textContent = !number ? "No photo chosen." : `${number} chosen.${spent ? " Another part for the same ones, or click a photo to choose anew." : ""}`;
}

sheet.addEventListener("click", (event) => {
  const tick = event.target.closest(".pick input");
  if (!tick) return;
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
  else if (button.dataset.part) mark({ [button.dataset.part]: event.shiftKey ? "unclear" : panel.querySelector("#as").value });
  else if (button.dataset.set) mark(JSON.parse(button.dataset.set));
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

function choose(all) { for (const tick of ticks) tick.checked = all; spent = false; count(); }

function mark(elements) {
  const photos = chosen().map((tick) => tick.value);
  if (!photos.length) { tell("Choose some photos first: click them, Shift-click for a run."); return; }
  const number = panel.querySelector("#count").value.trim();
  if (number && !/^\d+$/.test(number)) { tell("How many: write a whole number, or leave it empty.", true); return; }
  send("parts", {
    photos, elements,
    place: panel.querySelector("#place").value, count: number ? Number(number) : null,
  });
}

function rest() {
  const found = seen.demand([...sheet.querySelectorAll(".tile")]);
  if (found.missing) { tell(unseenWords(found)); return; }
  send("parts/rest", { photos: ticks.map((tick) => tick.value), hanging: panel.querySelector("#hanging").checked });
}

function send(where, data) {
  inOrder(() => post(where, { deck: sheet.dataset.deck, ...data })).then((told) => {
    if (told.next) { location.href = told.next; return; }
    panel.innerHTML = told.panel;
    for (const [sha, caption] of Object.entries(told.captions)) {
      const place = sheet.querySelector(`[data-cap="${sha}"]`);
      if (place) place.innerHTML = caption;
    }
    spent = true;
    count();
    tell(told.told);
  }).catch(complain);
}

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
  else if (event.key === "Escape") choose(false);
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
