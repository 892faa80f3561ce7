// Sends a list as it is and says what came of it, row by row where something was set aside.
import { address, complain, element, post } from "./common.js";

const at = (name) => document.getElementById(name);

async function put(upload, file) {
  const response = await fetch(address(`files/${upload}/file?name=${encodeURIComponent(file.name)}`), { method: "POST", body: file });
  if (!response.ok) throw new Error((await response.json()).error);
}

async function take() {
  const file = at("sheet").files[0];
  const mapping = at("kind").value === "labels" ? at("mapping").files[0] : null;
  const { upload } = await post("files/begin", {});
  await put(upload, file);
  if (mapping) await put(upload, mapping);
  return post("files/take", { upload, kind: at("kind").value, name: file.name, mapping: mapping ? mapping.name : "", try: at("try").checked });
}

function show({ told, set_aside: aside, count }) {
  at("came").replaceChildren(element("p", { text: told }));
  if (!aside.length) return;
  const rows = aside.map((text) => element("li", { text }));
  at("came").append(element("p", { text: at("kind").value === "report" ? "What is not as it was:" : `Set aside${count > aside.length ? `, the first ${aside.length} of ${count}` : ""}:` }), element("ul", {}, ...rows));
}

at("list").addEventListener("submit", (event) => {
  event.preventDefault();
  at("came").replaceChildren(element("p", { text: "Reading …" }));
  take().then(show).catch((error) => {
    at("came").replaceChildren(element("p", { class: "warn", text: error.message }));
    if (error.needName) complain(error);
  });
});
at("kind").addEventListener("change", () => { at("for-labels").hidden = at("kind").value !== "labels"; });
if (at("kind").value !== "labels") at("for-labels").hidden = true;
