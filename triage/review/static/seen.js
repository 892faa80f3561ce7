// Which tiles have been on the screen: nobody can say 'looked at all' of what never was.
export class Seen {
  constructor(tiles) {
    this.left = new Set(tiles);
    const watch = new IntersectionObserver((entries) => {
      for (const entry of entries) {
        const picture = entry.target.querySelector("img");
        if (entry.intersectionRatio < 0.6 && !fills(entry)) continue;
        const done = () => { this.left.delete(entry.target); entry.target.classList.remove("unseen"); };
        if (picture.complete && picture.naturalWidth) done();
        else picture.addEventListener("load", done, { once: true });
      }
    }, { threshold: [0.3, 0.6, 0.9] });
    for (const tile of tiles) watch.observe(tile);
  }

  unseen(tiles) { return tiles.filter((tile) => this.left.has(tile)); }

  // Shows what was not seen yet; returns whether everything was.
  demand(tiles) {
    const missing = this.unseen(tiles);
    for (const tile of missing) tile.classList.add("unseen");
    if (missing.length) missing[0].scrollIntoView({ block: "center" });
    return missing.length;
  }
}

function fills(entry) { return entry.intersectionRect.height > 0.6 * entry.rootBounds.height; }
