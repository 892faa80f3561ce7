// Every key of the viewer in one list, shown by "?".
import { element } from "./common.js";

const LOOKING = [
  ["N, →", "next photo or question"], ["B, ←", "the one before"], ["+, −, 0", "zoom in, zoom out, whole photo (also the wheel, or two fingers)"],
  ["F", "1:1, every pixel, at the cursor"], ["drag", "moves the photo when it is zoomed in"], ["R", "turn by a quarter"],
  ["S", "a second photo beside this one, zoomed together"], ["K", "mark on or off: then a click marks a spot and a drag a box; drag a mark to move it"],
  ["Backspace", "takes away the chosen mark, else the last one"], ["?", "these keys"], ["Esc", "drops keys that wait, closes what is open"],
];
const ANSWERING = [["P", "yes"], ["A", "no"], ["C", "cannot tell"], ["U", "undo your last act"]];
const PHOTO = [
  ["↑, ↓", "another question on this photo"], ["T", "any tag: type its name"], ["G", "squares: then a letter and a number mark a place"],
  ["M", "where the machine looked"], ["Enter", "takes the machine's place and answers yes"], ["D", "what the tag means"],
];

export function showKeys(where) {
  const rows = [...(where === "looking" ? [] : ANSWERING), ...LOOKING, ...(where === "photo" ? PHOTO : [])];
  const list = element("dl", { class: "keylist" });
  for (const [key, does] of rows) list.append(element("dt", {}, element("kbd", { text: key })), element("dd", { text: does }));
  const dialog = element("dialog", { class: "sheetlike", "aria-label": "Keys" }, element("h2", { text: "Keys" }), list,
    element("form", { method: "dialog" }, element("button", { class: "main", text: "Close" })));
  dialog.addEventListener("close", () => dialog.remove());
  dialog.addEventListener("keydown", (event) => { if (event.key === "?") { event.preventDefault(); dialog.close(); } event.stopPropagation(); });
  document.body.append(dialog);
  dialog.showModal();
}
