// Which tiles have been on the screen: nobody can say 'looked at all' of what never was.
// A tile was seen when its picture, loaded, was mostly in view for a moment without a break.
const MOMENT_MS = 250;
const MOSTLY = 0.6;

export class Seen {
  constructor(tiles) {
    this.left = new Set(tiles);
    this.since = new Map();
    const watch = new IntersectionObserver((entries) => entries.forEach((entry) => this.note(entry)), { threshold: [0.3, MOSTLY, 0.9] });
    for (const tile of tiles) {
      watch.observe(tile);
      tile.querySelector("img").addEventListener("load", () => { if (this.since.has(tile)) this.begin(tile); });
    }
  }

  note({ target, intersectionRatio, intersectionRect, rootBounds }) {
    const mostly = intersectionRatio >= MOSTLY || intersectionRect.height > MOSTLY * (rootBounds?.height || Infinity);
    if (!mostly) this.since.delete(target);
    else if (!this.since.has(target)) this.begin(target);
  }

  begin(tile) {
    const now = performance.now();
    this.since.set(tile, now);
    setTimeout(() => {
      const picture = tile.querySelector("img");
      if (this.since.get(tile) !== now || !picture.complete || !picture.naturalWidth) return;
      this.left.delete(tile);
      tile.dataset.seen = "yes";
      tile.classList.remove("unseen");
    }, MOMENT_MS);
  }

  // Shows what was not seen yet; returns how many there are.
  demand(tiles) {
    const missing = tiles.filter((tile) => this.left.has(tile));
    for (const tile of missing) tile.classList.add("unseen");
    if (missing.length) missing[0].scrollIntoView({ block: "center" });
    return missing.length;
  }
}
