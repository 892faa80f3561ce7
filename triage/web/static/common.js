// What every page shares: sending, telling, and a queue so that fast keys never overtake each other.
import { element } from "./dom.js";

export { element };

const base = document.body.dataset.base || "";
const said = document.getElementById("said");

export function address(where) { return base + where; }

export function tell(text, bad = false, seconds = 5) {
  if (!text) return;
  const line = document.createElement("p");
  line.textContent = text;
  if (bad) line.className = "bad";
  said.append(line);
  while (said.children.length > 3) said.firstChild.remove();
  const foot = document.querySelector("#panel, .endofgroup");
  if (foot) said.style.setProperty("--foot", `${foot.offsetHeight}px`);   // on a phone it is told over the bar, not over photos
  setTimeout(() => line.remove(), 1000 * (bad ? seconds * 2 : seconds));
}

// Beside one photo: over the strip of small pictures, or at the top of the side.
if (document.body.classList.contains("looking")) {
  const strip = document.getElementById("strip");
  if (strip) strip.after(said);
  else document.querySelector(".side")?.prepend(said);
}

async function read(response) {
  let told = {};
  try { told = await response.json(); } catch { told = { error: "The page did not understand the answer." }; }
  if (!response.ok) throw new Refused(told.error || "That could not be done.", told.hint, told.need_name, told.fields);
  return told;
}

export class Refused extends Error {
  constructor(message, hint, needName, fields) {
    super(hint ? `${message} ${hint}` : message);
    Object.assign(this, { needName, fields, told: true });
  }
}

// A tab speaks under the name that it shows, whatever was said in another one since.
const speaks = () => ({ "x-speaks-as": encodeURIComponent(document.body.dataset.by || "") });

export async function get(where) {
  return read(await fetch(address(where), { headers: { accept: "application/json", ...speaks() } }));
}

const KEPT_ALIVE_BYTES = 50_000;   // what a browser sends to the end though the page is left

export async function post(where, data) {
  const body = JSON.stringify(data);
  return read(await fetch(address(where), {
    method: "POST", headers: { "content-type": "application/json", ...speaks() }, body, keepalive: body.length < KEPT_ALIVE_BYTES,
  }));
}

// A form, answered by where to go next or by what is wrong with which field.
export async function postForm(where, data) {
  return read(await fetch(where, { method: "POST", headers: { "x-form": "fields", ...speaks() }, body: new URLSearchParams(data) }));
}

// One act after the other, in the order of the keys.
let last = Promise.resolve();
export function inOrder(act) {
  const next = last.then(act);
  last = next.catch(() => {});
  return next;
}

export function complain(error) {
  tell(error instanceof Refused ? error.message : "The page's server did not answer. Is it still running?", true);
  if (error.needName) {
    const menu = document.querySelector(".speaker details");
    if (menu) { menu.open = true; menu.querySelector("input[name=name]").focus(); }
  }
}

document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape") return;
  for (const menu of document.querySelectorAll("details.menu[open]")) menu.open = false;
});

// A form that may be sent twice by a nervous finger is sent once.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.dataset.sent) { event.preventDefault(); return; }
  form.dataset.sent = "yes";
  const by = document.body.dataset.by;
  if (by && form.method === "post" && !form.matches(".who") && !form.elements._as) form.append(element("input", { type: "hidden", name: "_as", value: by }));
  setTimeout(() => { delete form.dataset.sent; }, 3000);
});

const unsaved = [];
// A page says by this what it has not saved yet; leaving it by one of our own buttons waits for that.
export function savesFirst(isSaving) { unsaved.push(isSaving); }

async function reloadWhenSaved() {
  const latest = Date.now() + 10_000;   // then the browser asks whether to leave
  while (unsaved.some((isSaving) => isSaving()) && Date.now() < latest) await new Promise((done) => { setTimeout(done, 50); });
  location.reload();
}

// A name that was changed in another tab is announced; this tab goes on under its own until it is told otherwise.
if (window.BroadcastChannel) {
  const channel = new BroadcastChannel(`deck-triage-name-${location.port}`);
  const mine = document.body.dataset.by || "";
  if (mine) channel.postMessage(mine);
  channel.addEventListener("message", ({ data }) => {
    const bar = document.getElementById("othername");
    if (!bar || data === mine || !data) return;
    bar.hidden = false;
    bar.replaceChildren(element("span", {}, "In another tab the name is ", element("bdi", { text: data }), mine ? ". This tab still speaks as " : ". Nobody speaks in this tab yet.", mine ? element("bdi", { text: `${mine}.` }) : ""),
      element("button", { type: "button", text: `Speak as ${data} here too`, onclick: reloadWhenSaved }),
      element("button", { type: "button", text: mine ? `Stay ${mine}` : "Close", onclick: () => { bar.hidden = true; } }));
  });
}
