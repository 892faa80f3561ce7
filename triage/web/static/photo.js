// Looking at one photo and answering; in a queue the next question is fetched before it is asked for.
import { Refused, address, complain, element, get, post, savesFirst, tell } from "./common.js";
import { SQUARES } from "./marks.js";
import * as panel from "./panel.js";
import { Beside } from "./beside.js";
import { showKeys } from "./keys.js";
import { Saving, drafts } from "./saving.js";
import { TagPicker } from "./tagpicker.js";
import { Turns } from "./turns.js";
import { View } from "./view.js";

const look = document.getElementById("look");
const at = (name) => document.getElementById(name);
const tags = JSON.parse(look.dataset.tags);
const machineFirst = look.dataset.machine === "before-answer";
const FIELDS = ["place", "count", "note"];
const state = { item: null, tag: look.dataset.tag, queue: null, machine: false, square: null, trouble: null };
const view = new View(at("frame"), at("paper"), at("picture"), at("marks"), addMark, { onChange: setMarks });
const beside = new Beside(view, look, () => state.item, () => tags[state.tag]);
const saving = new Saving((message) => {
  if (message && !state.trouble) tell(message, true);
  state.trouble = message;
  redraw();
});
const turns = new Turns(view, showWaiting, failed);
const ready = new Map();   // photos and questions fetched ahead, by address
new TagPicker(at("tagpicker"), tags, (tag) => { turns.push(() => goTo(state.item.sha, tag), false); });

// ---- showing ----------------------------------------------------------------------------------------

const question = () => state.item.questions.find((one) => one.tag === state.tag) || state.item.questions[0];
const keptBack = (one) => Boolean(one.machine) && !one.mine && (one.hidden || !machineFirst);
const wanted = () => state.machine || Boolean(state.queue && state.queue.machine);
const machineShown = (one) => Boolean(one.machine) && !keptBack(one) && wanted();
const savedMarks = (one) => (one.mine && one.mine.value === "present" ? one.mine.boxes : []);
const marksOf = (one) => one.pending || savedMarks(one);   // as they are drawn: with those that wait for their turn

function show({ item, queue }, keepTag = false) {
  const changed = !state.item || state.item.sha !== item.sha;
  for (const one of item.questions) one.had = Boolean(one.mine);
  state.item = item;
  state.queue = queue;
  state.trouble = null;
  if (queue) state.tag = queue.tag;
  else if (!keepTag && changed) state.tag = firstOpen(item) || state.tag;
  if (!item.questions.some((one) => one.tag === state.tag)) state.tag = item.questions[0].tag;
  view.show(item).then((shown) => { if (!shown && view.frame.dataset.state === "failed") pictureFailed(); });
  if (changed) beside.follow();
  if (!queue) history.replaceState(null, "", `${item.page}?tag=${encodeURIComponent(state.tag)}`);
  for (const link of document.querySelectorAll("[data-also]")) link.href = `${item.page}/${link.dataset.also}`;
  document.title = `${item.name}: deck-triage`;
  fillWords();
  redraw();
  ahead();
}

function pictureFailed() {
  const dropped = turns.drop();
  tell(`This picture could not be loaded, so it takes no answer.${dropped ? " The keys that waited for it were dropped." : ""}`, true);
}

function redraw() {
  const { item, queue } = state;
  const one = question();
  const shown = machineShown(one);
  view.setLayers([
    { boxes: one.others.flatMap((other) => other.boxes), kind: "other" },
    { boxes: shown ? one.machine.where : [], kind: "machine" },
    { boxes: marksOf(one), kind: "mine" },
  ]);
  panel.showQuestion(at("question"), one, state.trouble, Boolean(queue && queue.blind));
  if (saving.failing) at("question").append(troubleButtons());
  panel.showMachine(at("machine"), one, shown, keptBack(one) && wanted(), machineFirst);
  panel.showMeaning(at("meaning"), tags[one.tag]);
  panel.showQuestions(at("questions"), item.questions, one.tag, (tag) => turns.push(() => choose(tag), false));
  panel.showHistory(at("history"), item.history);
  panel.showStrip(at("strip"), item.siblings, item.sha, (sha) => turns.push(() => goTo(sha), false));
  for (const button of document.querySelectorAll("[data-answer]")) {
    button.classList.toggle("now", Boolean(one.mine) && one.mine.value === button.dataset.answer);
  }
  at("machine-toggle").setAttribute("aria-pressed", String(wanted()));
  at("machine-toggle").hidden = Boolean(queue && queue.machine) || !item.questions.some((each) => each.machine);
  at("grid-toggle").setAttribute("aria-pressed", String(Boolean(view.grid)));
  at("rubber").hidden = !marksOf(one).length;
  at("mark-toggle").setAttribute("aria-pressed", String(view.marking));
  const place = item.siblings.findIndex((each) => each.sha === item.sha) + 1;
  const flags = item.flags.length ? ` · ${item.flags.join(", ")}` : "";
  const where = queue ? `${queue.at + 1} of ${queue.total} · ` : `${place} of ${item.siblings.length} · `;
  at("where").replaceChildren(
    element("span", { text: `${where}${item.deck_words}/${item.name}` }), element("span", { text: `${item.clock}${flags}` }));
}

function troubleButtons() {
  return element("p", { class: "row tight" },
    element("button", { type: "button", text: "Send it now", onclick: () => saving.now() }),
    element("button", { type: "button", text: "Drop this answer", onclick: () => saving.drop() }));
}

function showWaiting(count) {
  at("waiting").hidden = !count || view.ready;
  at("waiting").textContent = count === 1 ? "1 key waits for this photo (Esc drops it)" : `${count} keys wait for their photos (Esc drops them)`;
}

function firstOpen(item) {
  const open = item.questions.find((one) => one.core && !one.mine);
  return open ? open.tag : null;
}

function choose(tag) {
  state.tag = tag;
  if (!state.queue) history.replaceState(null, "", `${state.item.page}?tag=${encodeURIComponent(tag)}`);
  fillWords();
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
  for (const known of ready.keys()) if (known !== next) ready.delete(known);
  if (!next) return;
  fetched(next).then(({ item }) => { if (item) { const picture = new Image(); picture.src = item.picture; picture.decode().catch(() => {}); } }).catch(() => {});
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
    turns.drop();
    tell(state.queue ? (by > 0 ? "That was the last question." : "That is the first question.") : "No further photo of this deck.");
    if (by > 0 && state.queue) location.href = address(state.queue.done);
    return;
  }
  const found = fetched(next);
  ready.delete(next);   // what was answered meanwhile must be seen when it comes up again
  show(await found);
}

async function goTo(sha, tag = state.tag) {
  if (state.queue && sha !== state.item.sha) { location.href = address(`photo/${sha}`); return; }
  const item = await get(`item/${sha}?tag=${encodeURIComponent(tag)}`);
  show({ item, queue: state.queue }, true);
  choose(tag);
}

// ---- answering ------------------------------------------------------------------------------------------

function words() {
  const count = at("count").value.trim();
  return { place: at("place").value, count: count ? Number(count) : null, note: at("note").value, bad: Boolean(count) && !/^\d+$/.test(count) };
}

function fillWords() {
  const one = question();
  const kept = drafts.get(state.item.sha, one.tag);
  const now = kept || (one.mine ? { place: one.mine.place, count: one.mine.count ?? "", note: one.mine.note } : {});
  for (const name of FIELDS) at(name).value = now[name] ?? "";
  if (FIELDS.some((name) => now[name])) at("words").open = true;
  if (kept && one.mine) turns.push(() => (question() === one ? answer(one.mine.value, { stay: true }) : null), false);
}

// Saves one answer and goes on once it is saved; `stay` keeps the question, `boxes` replaces the marks.
async function answer(value, { boxes = null, saw = false, stay = false } = {}) {
  const one = question();
  const { item, queue } = state;
  const { place, count, note, bad } = words();
  if (bad) { tell("How many: write a whole number, or leave it empty.", true); at("words").open = true; at("count").focus(); turns.drop(); return; }
  const mainQuestion = queue !== null && one.tag === queue.tag;
  const seen = saw || machineShown(one);
  const given = {
    photo: item.sha, tag: one.tag, value, boxes: value === "present" ? boxes || savedMarks(one) : [], place, count, note,
    asked_by: mainQuestion ? queue.asked_by : "taken", saw_machine: seen, run: queue ? { ...queue.run, at: queue.at } : null,
  };
  const before = one.mine;
  const told = one.mine && same(one.mine, given) ? null : await save(one, given, before);
  drafts.drop(item.sha, one.tag);
  if (told && told.put_off) ready.clear();   // what was fetched ahead may come later now
  if (told) afterwards(one, given, told);
  if (stay) { redraw(); return; }
  if (!mainQuestion && (queue || one.had)) { if (told) await goTo(item.sha, one.tag); else redraw(); return; }
  if (queue) { await step(1); return; }
  const open = firstOpen(item);
  if (open) { choose(open); return; }
  if (one.core) await step(1);
  else await goTo(item.sha, one.tag);
}

function same(mine, given) {
  const key = ({ value, boxes, place, count, note }) => JSON.stringify([value, boxes.map((box) => box.map((part) => part.toFixed(4))), place || "", count ?? null, note || ""]);
  return key(mine) === key(given);
}

async function save(one, given, before) {
  one.mine = { value: given.value, boxes: given.boxes, place: given.place, count: given.count, note: given.note, saving: true };
  one.value = given.value;
  redraw();
  try {
    const told = await saving.send("answer", given);
    one.mine.saving = false;
    return told;
  } catch (error) {
    one.mine = before;
    state.trouble = error.message;
    redraw();
    throw error;
  }
}

function afterwards(one, given, told) {
  state.trouble = null;
  tell(told.told, false, 9);
  if (wanted() && keptBack({ ...one, mine: null }) && (one.hidden || unlike(given.value, one.machine.pile))) tell(`The machine had said: ${panel.machineWords(one.machine)}. B goes back.`, false, 7);
  if (!told.told && given.value === "present" && !given.boxes.length && one.kind === "defect") {
    tell("Saved. If you can, go back (B) and mark the spot: it teaches the model more than any other label.");
  }
  clearTimeout(state.later);
  state.later = setTimeout(() => deckNow(told.deck), 400);
}

const unlike = (value, pile) => (value === "absent" && pile === "likely") || (value === "present" && pile !== "likely");

function failed(error) {
  redraw();
  complain(error);
}

async function deckNow(deck) {
  try {
    const now = await get(`standing?d=${encodeURIComponent(deck)}`);
    if (now.changes.length) tell(`Deck ${now.deck}: ${now.changes.join(" ")}`, false, 7);
  } catch (error) { if (error instanceof Refused) complain(error); }
}

async function undo() {
  const told = await post("undo", {});
  tell(told.told);
  ready.clear();
  if (!told.photos.length) { await goTo(state.item.sha); return; }
  drafts.drop(told.photos[0], told.tags[0]);
  if (state.queue) {
    show(await get(`${state.queue.next}&photo=${told.photos[0]}&tag_of=${encodeURIComponent(told.tags[0])}`));
    return;
  }
  await goTo(told.photos[0], told.tags[0]);
}

async function takePlace() {
  const one = question();
  if (keptBack(one)) { tell("The machine's word is kept back on this one until you have decided."); return; }
  if (!one.machine || !one.machine.where.length) { tell("The machine has no place here."); return; }
  await answer("present", { boxes: [one.machine.where[0]], saw: true });
}

// ---- marking --------------------------------------------------------------------------------------------

// A mark says yes at its place and is saved as it is made; the question stays for a further one. What was changed is
// drawn at once, so that the next change starts from it though it still waits to be sent.
function addMark(box) { marked([...marksOf(question()), box]); }
function setMarks(boxes) { marked(boxes); }
function marked(boxes) {
  const one = question();   // a mark belongs to the photo that it was made on, whatever waits
  const settle = () => { if (one.pending === boxes) { one.pending = null; redraw(); } };
  const taken = turns.push(async () => {
    if (question() !== one) { tell("That mark was not kept: another photo is shown by now.", true); return; }
    try { await answer("present", { boxes, stay: true }); } finally { settle(); }
  }, true, settle);
  if (!taken) { tell("Too many keys wait: look at the photo first.", true); return; }
  one.pending = boxes;
  redraw();
}
function dropMark() { if (!view.deleteMark()) tell("There is no mark of yours to take away."); }

function toggleMarking() { setMarking(!view.marking); }
function setMarking(on) {
  view.setMarking(on);
  try { sessionStorage.setItem("marking", on ? "yes" : ""); } catch { /* not kept */ }
  redraw();
}

function toggleGrid() {
  view.grid = view.grid ? null : SQUARES;
  state.square = view.grid ? "" : null;
  redraw();
}

function typeSquare(key) {
  const [letters, numbers] = SQUARES;
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
  next: () => turns.push(() => step(1), false), back: () => turns.push(() => step(-1), false),
  undo: () => turns.push(undo, false), grid: toggleGrid, mark: toggleMarking, drop: dropMark,
  machine: () => { state.machine = !state.machine; redraw(); },
  in: () => view.zoom(1.5), out: () => view.zoom(1 / 1.5), whole: () => view.fit(), pixels: () => view.pixels(),
  turn: () => view.turn(), beside: () => beside.toggle(), keys: () => showKeys(["answer", "undo", "look", "mark", "photo", "end"]), again: () => { view.again(); },
};

function give(value) {
  if (saving.failing) { tell("The last answer is not saved yet: it is sent again, or drop it.", true); return; }
  if (view.frame.dataset.state === "failed") { tell("This picture could not be loaded, so it takes no answer.", true); return; }
  if (!turns.push(() => answer(value))) tell("Too many keys wait: look at the photo first.", true);
}

function otherQuestion(by) {
  const names = [...state.item.questions.filter((one) => one.kind !== "element"), ...state.item.questions.filter((one) => one.kind === "element")].map((one) => one.tag);
  const place = names.indexOf(state.tag) + by;
  if (names[place]) choose(names[place]);
}

const KEYS = {
  p: () => give("present"), a: () => give("absent"), c: () => give("unclear"), u: DO.undo,
  n: DO.next, b: DO.back, m: DO.machine, g: toggleGrid, k: toggleMarking, r: DO.turn, s: DO.beside, "?": DO.keys,
  d: () => { at("definition").open = !at("definition").open; }, t: () => at("tagpicker").focus(),
  "+": DO.in, "=": DO.in, "-": DO.out, 0: DO.whole, f: DO.pixels, Enter: () => turns.push(takePlace), Backspace: dropMark, Delete: dropMark,
  Escape: () => { const count = turns.drop(); if (count) tell(count === 1 ? "Dropped 1 key." : `Dropped ${count} keys.`); },
  ArrowUp: () => turns.push(() => otherQuestion(-1), false), ArrowDown: () => turns.push(() => otherQuestion(1), false),
  ArrowLeft: DO.back, ArrowRight: DO.next,
};
const MOVES = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || event.isComposing) return;
  const target = event.target;
  if (document.querySelector("dialog[open]")) return;
  if (target.closest("input, textarea, select")) { if (event.key === "Enter" && !target.list) at("frame").focus(); return; }
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
  if (key !== "Escape") event.preventDefault();
  KEYS[key]();
});

document.addEventListener("click", (event) => {
  const button = event.target.closest("button[data-answer], button[data-do]");
  if (!button) return;
  if (button.dataset.answer) give(button.dataset.answer);
  else DO[button.dataset.do]();
  if (event.detail && button.dataset.do !== "keys") at("frame").focus({ preventScroll: true });   // a later Enter must not answer again
});

for (const name of FIELDS) {
  at(name).addEventListener("input", () => drafts.set(state.item.sha, state.tag, { place: at("place").value, count: at("count").value, note: at("note").value }));
  at(name).addEventListener("change", () => {
    const one = question();
    if (one.mine && !words().bad) turns.push(() => (question() === one ? answer(one.mine.value, { stay: true }) : null), false);
  });
}
const isSaving = () => saving.sending || turns.waiting.length > 0;
savesFirst(isSaving);
window.addEventListener("beforeunload", (event) => { if (isSaving()) event.preventDefault(); });

view.setMarking(sessionStorage.getItem("marking") === "yes");
const late = Saving.unsent();
if (late && document.body.dataset.by) saving.send(late.where, late.data).then(() => tell("An answer that could not be saved before is saved now.")).then(() => goTo(state.item.sha)).catch(complain);
show(JSON.parse(look.dataset.start), true);
