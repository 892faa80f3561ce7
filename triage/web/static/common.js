// What every page shares: sending, telling, and a queue so that fast keys never overtake each other.
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
  setTimeout(() => line.remove(), 1000 * (bad ? seconds * 2 : seconds));
}

export function element(name, attributes = {}, ...inside) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === false || value === null || value === undefined) continue;
    if (key === "text") made.textContent = value;
    else if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else made.setAttribute(key, value === true ? "" : value);
  }
  made.append(...inside);
  return made;
}

async function read(response) {
  let told = {};
  try { told = await response.json(); } catch { told = { error: "The page did not understand the answer." }; }
  if (!response.ok) throw new Refused(told.error || "That could not be done.", told.hint, told.need_name);
  return told;
}

export class Refused extends Error {
  constructor(message, hint, needName) { super(hint ? `${message} ${hint}` : message); this.needName = needName; }
}

export async function get(where) {
  return read(await fetch(address(where), { headers: { accept: "application/json" } }));
}

export async function post(where, data) {
  return read(await fetch(address(where), {
    method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(data),
  }));
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
  setTimeout(() => { delete form.dataset.sent; }, 3000);
});
