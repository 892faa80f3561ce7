// One contact sheet of what the machine proposes for a part: exceptions by a click, confirmed in one act.
import { complain, inOrder, post, tell } from "./common.js";
import { Seen, unseenWords } from "./seen.js";

const root = document.getElementById("proposals");
if (root) {
  const tiles = [...root.querySelectorAll(".lookat")];
  const seen = new Seen(tiles, Number(root.dataset.least));
  const clicked = new Map();
  const opened = new Set();
  document.addEventListener("photoshown", ({ detail }) => opened.add(detail));

  const answer = (tile) => clicked.get(tile) || tile.dataset.proposed;

  const draw = () => {
    for (const tile of tiles) {
      for (const button of tile.querySelectorAll("[data-value]")) button.setAttribute("aria-pressed", String(button.dataset.value === answer(tile)));
    }
    const open = tiles.filter((tile) => !answer(tile)).length;
    document.getElementById("tally").textContent = `${clicked.size} changed${open ? `, ${open} stay open` : ""}`;
  };

  root.addEventListener("click", (event) => {
    const all = event.target.closest("[data-all]");
    if (all) {
      for (const tile of all.closest("section").querySelectorAll(".lookat")) clicked.set(tile, all.dataset.all);
      draw();
      return;
    }
    const button = event.target.closest("[data-value]");
    if (!button) return;
    const tile = button.closest(".lookat");
    if (button.dataset.value === answer(tile)) clicked.delete(tile);
    else clicked.set(tile, button.dataset.value);
    draw();
  });

  root.querySelector("[data-confirm]").addEventListener("click", (event) => {
    const found = seen.demand(tiles);
    if (found.missing) { tell(unseenWords(found)); return; }
    const button = event.target;
    button.disabled = true;
    const photos = tiles.map((tile) => ({ photo: tile.dataset.sha, proposed: tile.dataset.proposed, value: clicked.get(tile) || "", shown: Math.round(Seen.drawn(tile)), opened: opened.has(tile.dataset.sha) }));
    inOrder(() => post("proposals/confirm", { deck: root.dataset.deck, tag: root.dataset.tag, model: root.dataset.model, photos }))
      .then((told) => { location.href = told.next; })
      .catch((error) => { button.disabled = false; complain(error); });
  });
  draw();
}
