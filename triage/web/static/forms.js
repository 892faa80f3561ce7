// Forms keep what was entered, and every wrong value is said at its field: those that the browser can see at once,
// the others when the server has looked at them. Without scripts a form is sent as ever.
import { complain, element, postForm } from "./common.js";

const HANDLED = "form[method=post]:not(.who, [data-direct])";
let last = 0;

// Says what is wrong with a field, below it, until it is changed.
export function wrongAt(field, message) {
  rightAt(field);
  const line = element("p", { class: "wrong", role: "alert", id: `wrong-${++last}`, text: message });
  field.setAttribute("aria-invalid", "true");
  field.setAttribute("aria-errormessage", line.id);
  field.dataset.wrong = line.id;
  (field.closest("label, fieldset, .choices") || field).after(line);
  for (let around = field.closest("details"); around; around = around.parentElement.closest("details")) around.open = true;
  field.addEventListener("input", () => rightAt(field), { once: true });
}

export function rightAt(field) {
  const line = field.dataset.wrong && document.getElementById(field.dataset.wrong);
  if (line) line.remove();
  for (const name of ["aria-invalid", "aria-errormessage", "data-wrong"]) field.removeAttribute(name);
}

function words(field) {
  const { validity } = field;
  if (validity.valueMissing) return field.type === "file" ? "Choose a file." : field.type === "checkbox" ? "Tick this first." : field.type === "radio" ? "Choose one." : field.matches("select") ? "Choose one of the list." : "Fill this in.";
  if (validity.patternMismatch && field.title) return `Write it as: ${field.title}.`;
  if (validity.badInput && /date/.test(field.type)) return "This is not a whole date.";
  return field.validationMessage || "This value does not fit.";
}

// Every field that the browser can see is wrong; of radio buttons with one name the first.
function invalid(form) {
  const found = [...form.elements].filter((field) => field.willValidate && !field.validity.valid);
  return found.filter((field, place) => field.type !== "radio" || found.findIndex((one) => one.name === field.name) === place);
}

function clear(form) {
  for (const field of form.querySelectorAll("[data-wrong]")) rightAt(field);
  for (const line of form.querySelectorAll(":scope > .wrong")) line.remove();
}

function whole(form, message) { form.prepend(element("p", { class: "wrong", role: "alert", text: message })); }

function show(form, error) {
  let first = null;
  for (const [name, message] of Object.entries(error.fields || {})) {
    const named = form.elements[name];
    const field = named instanceof RadioNodeList ? named[0] : named;
    if (field && field.type !== "hidden") { wrongAt(field, message); first ||= field; } else whole(form, message);
  }
  if (!Object.keys(error.fields || {}).length) whole(form, error.message);
  (first || form.querySelector(".wrong")).scrollIntoView({ block: "nearest" });
  if (first) first.focus({ preventScroll: true });
}

// For forms that send files: marks every field that the browser can see is wrong; returns whether all are right.
export function allRight(form) {
  clear(form);
  const wrong = invalid(form);
  for (const field of wrong) wrongAt(field, words(field));
  if (wrong.length) { delete form.dataset.sent; wrong[0].focus(); }
  return !wrong.length;
}
export { show as showWrong };

function go(where) {
  const to = new URL(where, location.href);
  if (to.pathname + to.search === location.pathname + location.search) { location.hash = to.hash; location.reload(); } else location.href = to.href;
}

for (const form of document.querySelectorAll(HANDLED)) form.noValidate = true;
document.addEventListener("focusin", ({ target }) => { const form = target.form; if (form && form.matches(HANDLED)) form.noValidate = true; });

document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (event.defaultPrevented || !form.matches(HANDLED)) return;
  event.preventDefault();
  if (!allRight(form)) return;
  const data = new FormData(form);
  if (event.submitter && event.submitter.name) data.append(event.submitter.name, event.submitter.value);
  try {
    const told = await postForm(form.action, data);
    document.dispatchEvent(new CustomEvent("formtaken", { detail: form }));
    go(told.where);
  } catch (error) {
    delete form.dataset.sent;
    if (error.needName || !error.told) complain(error);
    else show(form, error);
  }
});
