"use strict";
// The site sheet on a phone: kept in this browser's storage, saved as a CSV file, nothing sent anywhere.
const data = JSON.parse(document.getElementById("data").textContent);
const slot = "site-sheet:" + data.sheet;
const el = (id) => document.getElementById(id);
let state = { who: "", deck: data.decks[0].deck, visits: {}, answers: {}, ticks: {} };
let stored = true;

function stamp() {
  const now = new Date(), two = (n) => String(Math.abs(n)).padStart(2, "0"), off = -now.getTimezoneOffset();
  const day = `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
  const zone = `${off < 0 ? "-" : "+"}${two(Math.trunc(off / 60))}:${two(off % 60)}`;
  return { day, at: `${day}T${two(now.getHours())}:${two(now.getMinutes())}:${two(now.getSeconds())}${zone}` };
}

function load() {
  try {
    const text = localStorage.getItem(slot);
    if (text) state = { ...state, ...JSON.parse(text) };
    if (!data.decks.some((one) => one.deck === state.deck)) state.deck = data.decks[0].deck;
  } catch (error) {
    stored = false;
  }
}

function keep() {
  try {
    localStorage.setItem(slot, JSON.stringify(state));
    stored = true;
  } catch (error) {
    stored = false;
  }
  tell();
}

function count() {
  return Object.values(state.answers).reduce((sum, deck) => sum + Object.values(deck).filter((one) => one.value !== "").length, 0);
}

function tell() {
  el("alarm").hidden = stored;
  if (!stored) {
    el("alarm").textContent = "This phone's storage is full or closed: what you type is on this screen only and is lost when the page closes. Save the file now.";
  }
  const n = count();
  el("kept").textContent = stored ? `${n} ${n === 1 ? "answer" : "answers"} kept on this phone` : `${n} ${n === 1 ? "answer" : "answers"} on this screen, not kept`;
}

function number(text) {
  const mixed = text.trim().match(/^(?:(\d+)[ -])?(\d+)\/(\d+)$/);
  if (mixed) return Number(mixed[3]) ? Number(mixed[1] || 0) + Number(mixed[2]) / Number(mixed[3]) : NaN;
  return /^(\d+(\.\d+)?|\.\d+)$/.test(text.trim()) ? Number(text) : NaN;
}

function inches(text, unit) {
  const clean = text.toLowerCase().replace(/[\u2032\u2019]/g, "'").replace(/[\u2033\u201d]/g, '"').replace(/\u00bd/g, " 1/2").replace(/\s*(o\.?\s?c\.?|on cent(er|re)s?)$/, "").trim();
  let m = clean.match(/^(\d+)-(\d+)$/);
  if (m && unit === "ft" && Number(m[2]) < 12) return Number(m[1]) * 12 + Number(m[2]);
  m = clean.match(/^(\d+)\s*(?:ft|feet|foot|')\.?\s*-?\s*([\d./ -]+?)\s*(?:in|inch|inches|")?\.?$/);
  if (m) return Number(m[1]) * 12 + number(m[2]);
  m = clean.match(/^([\d./ -]+?)\s*(ft|feet|foot|'|in|inch|inches|")\.?$/);
  if (m) return number(m[1]) * (/^(f|')/.test(m[2]) ? 12 : 1);
  return number(clean) * (unit === "ft" ? 12 : 1);
}

function reading(line, text) {
  if (text === "" || (line.type !== "number" && line.type !== "count")) return ["", false];
  const value = line.unit === "ft" ? inches(text, "ft") / 12 : line.unit === "in" ? inches(text, "in") : number(text.replace(/[^\d./ -]/g, ""));
  if (!Number.isFinite(value)) return [`Not read as a number. Write it as: ${line.example}`, true];
  if (line.low !== null && (value < line.low || value > line.high)) return [`${+value.toFixed(2)} ${line.unit} is not between ${line.low} and ${line.high}. Measure again, or check the unit.`, true];
  return [`Read as ${+value.toFixed(2)} ${line.unit}`, false];
}

function answersOf() {
  return (state.answers[state.deck] ||= {});
}

function put(line, value) {
  const now = stamp(), before = answersOf()[line.key];
  if (before && before.value === value) return;
  answersOf()[line.key] = { value, at: now.at, by: state.who };
  state.visits[state.deck] ||= now.day;
  el("visit").value = state.visits[state.deck];
  keep();
}

function make(tag, more = {}, ...inside) {
  const made = Object.assign(document.createElement(tag), more);
  made.append(...inside);
  return made;
}

function field(line, known) {
  const id = "f-" + line.key, given = answersOf()[line.key], box = make("div");
  const value = given ? given.value : "";
  let input;
  if (line.type === "bool" || line.choices.length && line.type !== "list") {
    input = make("select", { id });
    const options = line.type === "bool" ? ["yes", "no"] : line.choices;
    input.append(make("option", { value: "", textContent: known === undefined ? "not known" : `as before: ${known}` }));
    for (const one of options) input.append(make("option", { value: one, textContent: one.replaceAll("-", " ") }));
  } else {
    input = make("input", { id, type: "text", autocomplete: "off", placeholder: known === undefined ? line.example : `as before: ${known}` });
  }
  input.value = value;
  const read = make("p", { className: "read", id: "r-" + line.key });
  const show = () => {
    const [words, bad] = reading(line, input.value.trim());
    read.textContent = words;
    read.className = bad ? "read bad" : "read";
  };
  input.addEventListener("input", () => { put(line, input.value.trim()); show(); });
  input.addEventListener("change", () => { put(line, input.value.trim()); show(); });
  show();
  box.append(make("label", { htmlFor: id, textContent: line.ask }), input, read, make("p", { className: "hint", textContent: line.how }));
  return box;
}

function draw() {
  const deck = data.decks.find((one) => one.deck === state.deck), form = el("form"), shots = el("shots");
  form.replaceChildren();
  shots.replaceChildren();
  el("visit").value = state.visits[state.deck] || stamp().day;
  for (const section of data.sections) {
    form.append(make("h2", { textContent: section.title }));
    if (section.drawing) form.append(make("details", {}, make("summary", { textContent: "Drawing" }), make("pre", { textContent: section.drawing })));
    for (const line of section.lines) form.append(field(line, deck.known[line.key]));
  }
  const more = make("details", { id: "more" }, make("summary", { textContent: `More (${data.more.length} other facts)` }));
  more.addEventListener("toggle", () => {
    if (more.open && more.children.length === 1) for (const line of data.more) more.append(field(line, deck.known[line.key]));
  });
  form.append(more);
  deck.shots.forEach((text, number) => {
    const ticks = (state.ticks[state.deck] ||= []), box = make("input", { type: "checkbox", checked: ticks.includes(number) });
    box.addEventListener("change", () => {
      state.ticks[state.deck] = box.checked ? [...state.ticks[state.deck], number] : state.ticks[state.deck].filter((one) => one !== number);
      keep();
    });
    shots.append(make("label", { className: "tick" }, box, make("span", { textContent: text })));
  });
  tell();
}

function cell(text) {
  return /[",\n\r]/.test(text) ? '"' + text.replaceAll('"', '""') + '"' : text;
}

function file() {
  const rows = [["deck", "visit", "key", "value", "by", "at", "sheet", "was"]];
  for (const deck of data.decks) {
    for (const [key, one] of Object.entries(state.answers[deck.deck] || {})) {
      if (one.value !== "") rows.push([deck.deck, state.visits[deck.deck] || "", key, one.value, one.by || state.who, one.at, data.sheet, deck.was[key] ?? ""]);
    }
  }
  return rows.map((row) => row.map(cell).join(",")).join("\n") + "\n";
}

function named() {
  if (state.who.trim()) return true;
  el("alarm").hidden = false;
  el("alarm").textContent = "Write your name at the top first: every answer is recorded with who gave it.";
  el("who").focus();
  return false;
}

el("save").addEventListener("click", () => {
  if (!named()) return;
  const link = make("a", { href: URL.createObjectURL(new Blob([file()], { type: "text/csv" })), download: `site-sheet-${data.sheet}-${state.who.trim().replace(/[^\p{L}\p{N}]+/gu, "-")}.csv` });
  document.body.append(link);
  link.click();
  link.remove();
});
el("show").addEventListener("click", () => {
  if (!named()) return;
  el("text").hidden = false;
  el("text").value = file();
  el("text").select();
});
el("who").addEventListener("input", () => { state.who = el("who").value; keep(); });
el("visit").addEventListener("change", () => { state.visits[state.deck] = el("visit").value; keep(); });
el("deck").addEventListener("change", () => { state.deck = el("deck").value; keep(); draw(); scrollTo(0, 0); });
addEventListener("beforeunload", (event) => { if (!stored && count()) event.preventDefault(); });

load();
for (const one of data.decks) el("deck").append(make("option", { value: one.deck, textContent: one.deck }));
el("deck").value = state.deck;
el("who").value = state.who;
draw();
