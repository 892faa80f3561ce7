// Sends a list as it is and says what came of it, row by row where something was set aside.
import { Refused, address, complain, element, post } from "./common.js";
import { allRight, showWrong } from "./forms.js";

const at = (name) => document.getElementById(name);

async function put(upload, file) {
  const response = await fetch(address(`files/${upload}/file?name=${encodeURIComponent(file.name)}`), { method: "POST", body: file });
  if (response.ok) return "";
  const { error, hint } = await response.json();
  return [error, hint].filter(Boolean).join(" ");
}

async function take() {
  const file = at("sheet").files[0];
  const mapping = at("kind").value === "labels" ? at("mapping").files[0] : null;
  const { upload } = await post("files/begin", {});
  const wrong = { sheet: await put(upload, file), mapping: mapping ? await put(upload, mapping) : "" };
  const fields = Object.fromEntries(Object.entries(wrong).filter(([, message]) => message));
  if (Object.keys(fields).length) throw new Refused("Nothing was taken in.", "", false, fields);
  return post("files/take", { upload, kind: at("kind").value, name: file.name, mapping: mapping ? mapping.name : "", try: at("try").checked });
}

function show({ told, set_aside: aside, count }) {
  at("came").replaceChildren(element("p", { text: told }));
  if (!aside.length) return;
  const rows = aside.map((text) => element("li", { text }));
  at("came").append(element("p", { text: at("kind").value === "report" ? "What is not as it was:" : `Set aside${count > aside.length ? `, the first ${aside.length} of ${count}` : ""}:` }), element("ul", {}, ...rows));
}

// A fault that names the second file is that file's, any other one the list's.
function where(error) {
  const mapping = at("mapping").files[0];
  return error.fields && Object.keys(error.fields).length ? error.fields : { [mapping && error.message.includes(mapping.name) ? "mapping" : "sheet"]: error.message };
}

at("list").noValidate = true;
at("list").addEventListener("submit", (event) => {
  event.preventDefault();
  if (!allRight(at("list"))) return;
  at("came").replaceChildren(element("p", { text: "Reading …" }));
  take().then(show).catch((error) => {
    at("came").replaceChildren();
    if (error.needName || !error.told) { complain(error); return; }
    showWrong(at("list"), { fields: where(error) });
  }).finally(() => { delete at("list").dataset.sent; });
});
at("kind").addEventListener("change", () => { at("for-labels").hidden = at("kind").value !== "labels"; });
if (at("kind").value !== "labels") at("for-labels").hidden = true;
