// Looking closely at many photos for one thing: a click on the spot says yes, 'looked at all' says no for the rest.
import { complain, element, inOrder, post, tell } from "./common.js";
import { MARK, hit, paintBoxes } from "./marks.js";
import { drafts } from "./saving.js";
import { Seen, unseenWords } from "./seen.js";
import { between } from "./view.js";
import { viewerOf } from "./viewer.js";

const root = document.getElementById("closely");
const tiles = [...root.querySelectorAll(".lookat")];
const looked = tiles.filter((tile) => !tile.closest("[data-group=without]"));
const seen = new Seen(looked, Number(root.dataset.least));
const mine = JSON.parse(root.dataset.mine);
const others = JSON.parse(root.dataset.others);
const { tag } = root.dataset;
const at = (name) => document.getElementById(name);
const byTile = new Map(tiles.map((tile) => [tile.dataset.sha, tile]));
// What was clicked here is kept in this browser until it is sent, so that leaving the page loses nothing.
const state = new Map(tiles.map((tile) => [tile, drafts.get(tile.dataset.sha, `look:${tag}`) || mine[tile.dataset.sha] || { value: null, boxes: [] }]));

function photoOf({ dataset: { sha, name, picture, full, width, height, page, visit } }) {
  return { sha, name, picture, full, page, visit: visit || null, width: Number(width), height: Number(height) };
}
const siblings = tiles.map(photoOf);

const viewer = viewerOf({
  photo: async (sha) => ({ ...photoOf(byTile.get(sha)), siblings }),
  asks: ({ sha }) => ({ words: root.dataset.words, ...state.get(byTile.get(sha)), others: othersOf(byTile.get(sha)) }),
  answer: async ({ sha }, value, boxes) => set(byTile.get(sha), { value, boxes }),
  closed: (sha) => { const tile = byTile.get(sha); if (tile) tile.querySelector("[data-closer]").focus(); },
  meaning: () => ({ examples: JSON.parse(root.dataset.examples) }),
});

// A frame has its photo's shape before the picture has come: a spot clicked early lies where it was clicked.
for (const tile of tiles) tile.querySelector(".shotframe").style.setProperty("--ratio", tile.dataset.width / tile.dataset.height);

function othersOf(tile) { return (others[tile.dataset.sha] || []).flatMap((one) => one.boxes); }

function set(tile, now) {
  state.set(tile, now);
  drafts.set(tile.dataset.sha, `look:${tag}`, now);
  draw(tile);
}

function draw(tile) {
  const { value, boxes } = state.get(tile);
  const frame = tile.querySelector(".shotframe");
  paintBoxes(tile.querySelector(".tilemarks"), [{ boxes: othersOf(tile), kind: "other" }, { boxes, kind: "mine" }], frame.clientWidth || 400, frame.clientHeight || 300);
  tile.dataset.value = value || "";
  for (const button of tile.querySelectorAll("[data-toggle]")) button.setAttribute("aria-pressed", String(button.dataset.toggle === value));
  tally();
}

function tally() {
  const yes = tiles.filter((tile) => state.get(tile).value === "present").length;
  const unclear = tiles.filter((tile) => state.get(tile).value === "unclear").length;
  at("tally").textContent = `${yes} yes, ${unclear ? `${unclear} cannot tell, ` : ""}the other ${tiles.length - yes - unclear} will be answered no`;
}

function addMark(tile, box) {
  const before = state.get(tile);
  set(tile, { value: "present", boxes: [...(before.value === "present" ? before.boxes : []), box] });
}

function toggle(tile, value) {
  const before = state.get(tile);
  set(tile, before.value === value ? { value: null, boxes: [] } : { value, boxes: [] });
}

// The definition can be hidden for more photos on a screen; that stays so in this browser until it is shown again.
const page = document.getElementById("withmeaning");
function showMeaning(shown, keep = true) {
  page.classList.toggle("alone", !shown);
  document.body.classList.toggle("alone", !shown);
  at("meaning").hidden = !shown;
  if (keep) try { localStorage.setItem("meaning", shown ? "" : "hidden"); } catch { /* not kept */ }
}
let kept = "";
try { kept = localStorage.getItem("meaning"); } catch { /* not kept */ }
showMeaning(kept !== "hidden", false);
page.addEventListener("click", ({ target }) => {
  const how = target.closest("[data-meaning]")?.dataset.meaning;
  if (!how) return;
  showMeaning(how === "show");
  page.querySelector(how === "show" ? "[data-meaning=hide]" : "[data-meaning=show]").focus();
});

root.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  const tile = button.closest(".lookat");
  if (button.dataset.toggle) toggle(tile, button.dataset.toggle);
  else if (button.dataset.closer) viewer.open(tiles.map((one) => one.dataset.sha), tile.dataset.sha);
  else if (button.dataset.looked) send(button.dataset.looked, button);
});

// A click on the picture marks a spot, a drag a box, a click on a spot takes it away; a swipe only scrolls.
root.addEventListener("pointerdown", (event) => {
  const frame = event.target.closest(".shotframe");
  if (!frame || event.button !== 0) return;
  const touch = event.pointerType === "touch";
  if (!touch) event.preventDefault();
  const tile = frame.closest(".lookat");
  const fraction = (now) => {
    const box = frame.getBoundingClientRect();
    return [Math.min(1, Math.max(0, (now.clientX - box.left) / box.width)), Math.min(1, Math.max(0, (now.clientY - box.top) / box.height))];
  };
  const start = fraction(event);
  if (!touch) frame.setPointerCapture(event.pointerId);
  const stop = () => { frame.removeEventListener("pointerup", up); frame.removeEventListener("pointercancel", stop); };
  const up = (end) => {
    stop();
    const far = Math.hypot(end.clientX - event.clientX, end.clientY - event.clientY) > 5;
    if (touch && far) return;
    if (far) { addMark(tile, between(start, fraction(end))); return; }
    const size = frame.getBoundingClientRect();
    const spots = state.get(tile).boxes;
    const which = hit(spots, ([u, v]) => [u * size.width, v * size.height], [start[0] * size.width, start[1] * size.height], MARK.reach);
    if (which >= 0 && !spots[which][2] && !spots[which][3]) dropMark(tile, which);
    else addMark(tile, [...start, 0, 0]);
  };
  frame.addEventListener("pointerup", up);
  frame.addEventListener("pointercancel", stop);
});

function dropMark(tile, which) {
  const boxes = state.get(tile).boxes.filter((_, place) => place !== which);
  set(tile, { value: boxes.length ? "present" : null, boxes });
}

function send(which, button) {
  const looks = which === "all" ? looked : looked.filter((tile) => tile.closest(".looks").dataset.group === which);
  const without = which === "all" ? tiles.filter((tile) => !looked.includes(tile)) : [];
  const found = seen.demand(looks);
  if (found.missing) { tell(unseenWords(found)); return; }
  const answers = [...looks, ...without].map((tile) => {
    const { value, boxes } = state.get(tile);
    return { photo: tile.dataset.sha, value: value || "absent", boxes: value === "present" ? boxes : [], by_part: !value && !looked.includes(tile) };
  });
  button.disabled = true;
  inOrder(() => post("looked", { deck: root.dataset.deck, tag, answers })).then((told) => {
    tell(told.told, false, 8);
    for (const tile of [...looks, ...without]) {
      drafts.drop(tile.dataset.sha, `look:${tag}`);
      if (!state.get(tile).value) { state.set(tile, { value: "absent", boxes: [] }); draw(tile); }
    }
    button.textContent = "Saved";
    const next = element("a", { class: "button main", href: told.next, text: told.next_words });
    at("after").replaceChildren(next, element("span", { class: "note", text: told.open ? ` ${told.open} photos are still open for this.` : "" }));
    if (!told.stay && (which === "all" || !told.open)) location.href = told.next;
  }).catch((error) => { button.disabled = false; complain(error); });
}

for (const tile of tiles) draw(tile);
new ResizeObserver(() => tiles.forEach(draw)).observe(root);
