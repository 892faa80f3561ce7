// Every key in one list, shown by "?": of the viewer, of one photo's page, of the contact sheet.
import { element } from "./dom.js";

const KEYS = {
  answer: [["P", "yes"], ["A", "no"], ["C", "cannot tell"]],
  undo: [["U", "undo your last act"]],
  look: [
    ["N, →", "next photo or question"], ["B, ←", "the one before"], ["+, −, 0", "zoom in, zoom out, whole photo (also the wheel, or two fingers)"],
    ["F", "1:1, every pixel, at the cursor"], ["drag, or arrows", "moves the photo when it is zoomed in"], ["R", "turn by a quarter"],
    ["S", "a second photo beside this one, zoomed together"],
  ],
  mark: [
    ["K", "mark on or off: then a click marks a spot and a drag a box; drag a mark to move it"],
    ["Backspace", "takes away the chosen mark, else the last one"],
  ],
  photo: [
    ["↑, ↓", "another question on this photo"], ["T", "any tag: type its name"], ["G", "squares: then a letter and a number mark a place"],
    ["M", "where the machine looked"], ["Enter", "takes the machine's place and answers yes"], ["D", "what the tag means"],
  ],
  sheet: [
    ["arrows", "from photo to photo"], ["Space", "chooses the photo, or not"], ["Shift and click", "chooses a run of photos"], ["Ctrl A", "chooses all"],
    ["Enter", "looks at the photo"], ["Shift and a part", "says that the part shows poorly"], ["U", "undo your last act"], ["Esc", "chooses none"],
  ],
  end: [["?", "these keys"], ["Esc", "drops keys that wait, closes what is open"]],
};

// `parts` names the groups of keys that work where "?" was pressed.
export function showKeys(parts) {
  const list = element("dl", { class: "keylist" });
  for (const [key, does] of parts.flatMap((part) => KEYS[part])) list.append(element("dt", {}, element("kbd", { text: key })), element("dd", { text: does }));
  const dialog = element("dialog", { class: "sheetlike", "aria-label": "Keys" }, element("h2", { text: "Keys" }), list,
    element("form", { method: "dialog" }, element("button", { class: "main", text: "Close" })));
  dialog.addEventListener("close", () => dialog.remove());
  dialog.addEventListener("keydown", (event) => { if (event.key === "?") { event.preventDefault(); dialog.close(); } event.stopPropagation(); });
  document.body.append(dialog);
  dialog.showModal();
}
