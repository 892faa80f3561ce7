// A backup is sent as it is; the library that comes of it is opened.
import { Refused } from "./common.js";
import { allRight, showWrong } from "./forms.js";

const form = document.getElementById("restore");
const line = document.getElementById("restoring");

async function restore() {
  const { library, file } = form.elements;
  line.textContent = "Sending and checking every file …";
  const response = await fetch(`/restore?library=${encodeURIComponent(library.value)}`, { method: "POST", body: file.files[0] });
  const told = await response.json();
  if (response.ok) location.href = told.where;
  else { line.textContent = ""; showWrong(form, new Refused(told.error, told.hint, false, told.fields)); }
}

form.noValidate = true;

form.addEventListener("submit", (event) => {
  event.preventDefault();
  if (!allRight(form)) return;
  restore().catch(() => { line.textContent = "The page's server did not answer. Is it still running?"; }).finally(() => { delete form.dataset.sent; });
});
