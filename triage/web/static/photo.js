// Looking at one photo and answering; in a queue the next question is there before the key is up.
import { address, complain, element, get, inOrder, post, tell } from "./common.js";
import { View } from "./view.js";
import * as panel from "./panel.js";

const look = document.getElementById("look");
const at = (name) => document.getElementById(name);
const tags = JSON.parse(look.dataset.tags);
const squares = [[..."abcdefgh"], [..."123456"]];
const state = { item: null, tag: look.dataset.tag, queue: null, pending: null, machine: false, square: null };
const view = new View(at("frame"), at("paper"), at("picture"), at("marks"), addMark);
const ready = new Map();   // photos and questions fetched ahead, by address

// ---- showing ----------------------------------------------------------------------------------------

const question = () => state.item.questions.find((one) => one.tag === state.tag) || state.item.questions[0];
const keptBack = (one) => one.hidden && !one.mine;
const machineShown = (one) => Boolean(one.machine) && !keptBack(one) && (state.machine || Boolean(state.queue && state.queue.machine));

function show({ item, queue }, keepTag = false) {
  const changed = !state.item || state.item.sha !== item.sha;
  state.item = item;
  state.queue = queue;
  if (queue) state.tag = queue.tag;
  else if (!keepTag && changed) state.tag = firstOpen(item) || state.tag;
  if (!item.questions.some((one) => one.tag === state.tag)) state.tag = item.questions[0].tag;
  state.pending = null;
  for (const name of ["place", "count", "note"]) at(name).value = "";
  view.show(item);
  if (!queue) history.replaceState(null, "", `${item.page}?tag=${encodeURIComponent(state.tag)}`);
  for (const link of document.querySelectorAll("[data-also]")) link.href = `${item.page}/${link.dataset.also}`;
  document.title = `${item.name}: deck-triage`;
  redraw();
  ahead();
}

function redraw() {
  const { item, queue } = state;
  const one = question();
  const shown = machineShown(one);
  const mine = state.pending || (one.mine ? one.mine.boxes : []);
  const layers = [
    { boxes: one.others.flatMap((other) => other.boxes), kind: "other" },
    { boxes: shown ? one.machine.where : [], kind: "machine" },
    { boxes: mine, kind: "mine" },
  ];
  view.setLayers(layers);
  panel.showQuestion(at("question"), one, state.pending ? state.pending.length : 0);
  panel.showMachine(at("machine"), one, shown, keptBack(one) && (state.machine || (queue && queue.machine)));
  panel.showMeaning(at("meaning"), tags[one.tag]);
  panel.showQuestions(at("questions"), item.questions, one.tag, choose);
  panel.showHistory(at("history"), item.history);
  panel.showStrip(at("strip"), item.siblings, item.sha, goTo);
  for (const button of document.querySelectorAll("[data-answer]")) {
    button.classList.toggle("now", Boolean(one.mine) && one.mine.value === button.dataset.answer);
  }
  at("machine-toggle").setAttribute("aria-pressed", String(state.machine || Boolean(queue && queue.machine)));
  at("machine-toggle").hidden = Boolean(queue && queue.machine) || !item.questions.some((each) => each.machine);
  at("grid-toggle").setAttribute("aria-pressed", String(Boolean(view.grid)));
  const place = item.siblings.findIndex((each) => each.sha === item.sha) + 1;
  const flags = item.flags.length ? ` · ${item.flags.join(", ")}` : "";
  const where = queue ? `${queue.at + 1} of ${queue.total} · ` : `${place} of ${item.siblings.length} · `;
  at("where").replaceChildren(
    element("span", { text: `${where}${item.deck_words}/${item.name}` }), element("span", { text: `${item.clock}${flags}` }));
}

function firstOpen(item) {
  const open = item.questions.find((one) => one.core && !one.mine);
  return open ? open.tag : null;
}

function choose(tag) {
  state.tag = tag;
  state.pending = null;
  if (!state.queue) history.replaceState(null, "", `${state.item.page}?tag=${encodeURIComponent(tag)}`);
  redraw();
}

// ---- fetching, and fetching ahead -----------------------------------------------------------------------

function fetched(where) {
  if (!ready.has(where)) {
    ready.set(where, get(where).then((found) => (found.item ? found : { item: found, queue: null })));
    ready.get(where).catch(() => ready.delete(where));
  }
  return ready.get(where);
}

function ahead() {
  const next = nextAddress(1);
  ready.clear();
  if (!next) return;
  fetched(next).then(({ item }) => { if (item) new Image().src = item.picture; }).catch(() => {});
}

function nextAddress(step) {
  if (state.queue) {
    const place = state.queue.at + step;
    return place < 0 || place >= state.queue.total ? null : `${state.queue.next}&at=${place}`;
  }
  const { siblings, sha } = state.item;
  const place = siblings.findIndex((one) => one.sha === sha) + step;
  return siblings[place] ? `item/${siblings[place].sha}` : null;
}

async function step(by) {
  const next = nextAddress(by);
  if (!next) {
    tell(state.queue ? (by > 0 ? "That was the last question." : "That is the first question.") : "No further photo of this deck.");
    if (by > 0 && state.queue) location.href = address(state.queue.done);
    return;
  }
  show(await fetched(next));
}

async function goTo(sha, keepTag = true) {
  if (state.queue && sha !== state.item.sha) { location.href = address(`photo/${sha}`); return; }
  const item = await get(`item/${sha}?tag=${encodeURIComponent(state.tag)}`);
  const tag = state.tag;
  show({ item, queue: state.queue }, keepTag);
  if (state.queue) choose(tag);
}

// ---- answering ------------------------------------------------------------------------------------------

function answer(value, boxes = null, saw = false) {
  const one = question();
  const { item, queue } = state;
  const mainQuestion = queue !== null && one.tag === queue.tag;
  const seen = saw || machineShown(one);
  const places = boxes || state.pending || (one.mine && one.mine.value === "present" ? one.mine.boxes : []);
  const count = at("count").value.trim();
  if (count && !/^\d+$/.test(count)) { tell("How many: write a whole number, or leave it empty.", true); return; }
  const given = {
    photo: item.sha, tag: one.tag, value, boxes: value === "present" ? places : [],
    place: at("place").value, count: count ? Number(count) : null, note: at("note").value,
    asked_by: mainQuestion ? queue.asked_by : "taken", saw_machine: seen,
  };
  const again = !mainQuestion && (Boolean(queue) || one.mine !== null);
  one.mine = { value, boxes: given.boxes, place: given.place, count: given.count, note: given.note };
  one.value = value;
  if (one.hidden && one.machine && (state.machine || (queue && queue.machine))) tell(`The machine had said: ${panel.machineWords(one.machine)}.`);
  const sent = inOrder(() => post("answer", given));
  sent.then((told) => {
    tell(told.told, false, 9);
    if (!told.told && value === "present" && !given.boxes.length && one.kind === "defect") {
      tell("Saved. If you can, go back (B) and mark the spot: it teaches the model more than any other label.");
    }
    deckNow(told.deck);
  }).catch((error) => { complain(error); goTo(item.sha); });
  if (again) { goToAfter(sent, item.sha); return; }
  if (queue) { step(1).catch(complain); return; }
  const open = firstOpen(item);
  if (open) { state.tag = open; state.pending = null; clearWords(); redraw(); return; }
  if (one.core) step(1).catch(complain);
  else goToAfter(sent, item.sha);
}

function clearWords() { for (const name of ["place", "count", "note"]) at(name).value = ""; }

function goToAfter(sent, sha) { sent.then(() => goTo(sha)).catch(() => {}); }

async function deckNow(deck) {
  try {
    const now = await get(`standing?d=${encodeURIComponent(deck)}`);
    if (now.changes.length) tell(`Deck ${now.deck}: ${now.changes.join(" ")}`, false, 7);
  } catch (error) { complain(error); }
}

function undo() {
  inOrder(() => post("undo", {})).then(async (told) => {
    tell(told.told);
    ready.clear();
    if (!told.photos.length) { await goTo(state.item.sha); return; }
    if (state.queue) {
      const back = await get(`${state.queue.next}&photo=${told.photos[0]}&tag_of=${encodeURIComponent(told.tags[0])}`);
      show(back);
      return;
    }
    state.tag = told.tags[0];
    await goTo(told.photos[0]);
    choose(told.tags[0]);
  }).catch(complain);
}

function takePlace() {
  const one = question();
  if (!one.machine || !one.machine.where.length) { tell("The machine has no place here."); return; }
  if (keptBack(one)) { tell("The machine's word is kept back on this one until you have decided."); return; }
  answer("present", [one.machine.where[0]], true);
}

// ---- marking --------------------------------------------------------------------------------------------

function addMark(box) {
  const one = question();
  const before = state.pending || (one.mine && one.mine.value === "present" ? one.mine.boxes : []);
  state.pending = [...before, box];
  if (one.mine && one.mine.value === "present") { answer("present", state.pending); return; }
  redraw();
}

function dropMark() {
  if (!state.pending || !state.pending.length) return;
  state.pending = state.pending.slice(0, -1);
  if (!state.pending.length) state.pending = null;
  redraw();
}

function toggleGrid() {
  view.grid = view.grid ? null : squares;
  state.square = view.grid ? "" : null;
  redraw();
}

function typeSquare(key) {
  const [letters, numbers] = squares;
  if (state.square === "" && letters.includes(key)) { state.square = key; return true; }
  if (state.square && numbers.includes(key)) {
    const [column, row] = [letters.indexOf(state.square), numbers.indexOf(key)];
    toggleGrid();
    addMark([column / letters.length, row / numbers.length, 1 / letters.length, 1 / numbers.length]);
    return true;
  }
  return false;
}

// ---- keys and buttons -----------------------------------------------------------------------------------

const DO = {
  next: () => step(1).catch(complain),
  back: () => step(-1).catch(complain),
  undo, grid: toggleGrid,
  machine: () => { state.machine = !state.machine; redraw(); },
  in: () => view.zoom(1.5), out: () => view.zoom(1 / 1.5), whole: () => view.fit(), pixels: () => view.pixels(),
};

function otherQuestion(by) {
  const names = [...state.item.questions.filter((one) => one.kind !== "element"), ...state.item.questions.filter((one) => one.kind === "element")].map((one) => one.tag);
  const place = names.indexOf(state.tag) + by;
  if (names[place]) choose(names[place]);
}

const KEYS = {
  p: () => answer("present"), a: () => answer("absent"), c: () => answer("unclear"), u: undo,
  n: DO.next, b: DO.back, m: DO.machine, g: toggleGrid, d: () => { at("definition").open = !at("definition").open; },
  "+": DO.in, "=": DO.in, "-": DO.out, 0: DO.whole, f: DO.pixels, Enter: takePlace, Backspace: dropMark,
  ArrowUp: () => otherQuestion(-1), ArrowDown: () => otherQuestion(1), ArrowLeft: DO.back, ArrowRight: DO.next,
};
const MOVES = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || event.isComposing) return;
  const target = event.target;
  if (target.closest("input, textarea, select")) { if (event.key === "Enter") at("frame").focus(); return; }
  if (event.key === "Enter" && target.closest("button, a, summary")) return;
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  if (state.square !== null) {
    if (key === "Escape") toggleGrid();
    else if (typeSquare(key)) event.preventDefault();
    if (key.length === 1) return;
  }
  if (MOVES[key] && target === at("frame") && !view.whole) {
    event.preventDefault();
    view.pan(120 * MOVES[key][0], 120 * MOVES[key][1]);
    return;
  }
  if (!KEYS[key] || (event.repeat && "pacu".includes(key))) return;
  event.preventDefault();
  KEYS[key]();
});

document.addEventListener("click", (event) => {
  const button = event.target.closest("button[data-answer], button[data-do]");
  if (!button) return;
  if (button.dataset.answer) answer(button.dataset.answer);
  else DO[button.dataset.do]();
  if (event.detail) at("frame").focus({ preventScroll: true });   // a later Enter must not answer again
});

show(JSON.parse(look.dataset.start), true);
