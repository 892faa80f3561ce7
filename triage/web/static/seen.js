// Which photos have been looked at: nobody can say 'looked at all' of what could not be judged.
// A tile was seen when its picture, drawn at a size where the part can be judged, was in view long enough for
// one look at each of the pictures in view with it. Each tile says whether that is so.
const LOOK_MS = 300;   // one look; a fixation lasts about 0.2 to 0.3 s (from memory, common in reading research)
const TICK_MS = 50;
const MOSTLY = 0.6;
const WORDS = { yes: "seen", no: "not seen yet", small: "too small to judge" };

// What the bar with the buttons covers at the bottom of the screen is not seen.
const foot = () => { const bar = document.querySelector(".endofgroup"); return bar ? Math.round(bar.getBoundingClientRect().height) : 0; };

export class Seen {
  // `least`: the long side in pixels of the screen from which on the part can be judged.
  constructor(tiles, least) {
    this.least = least;
    this.left = new Set(tiles);
    this.inView = new Set();
    this.spent = new Map();
    this.last = performance.now();
    const watch = new IntersectionObserver((entries) => entries.forEach((entry) => this.note(entry)), { threshold: [0, 0.3, MOSTLY, 0.9], rootMargin: `0px 0px -${foot()}px 0px` });
    for (const tile of tiles) {
      watch.observe(tile);
      this.say(tile, "no");
    }
    this.timer = setInterval(() => this.tick(), TICK_MS);
    document.addEventListener("photoshown", ({ detail }) => {
      for (const tile of [...this.left]) if (tile.dataset.sha === detail) this.done(tile);
    });
  }

  note({ target, intersectionRatio, intersectionRect, rootBounds }) {
    const mostly = intersectionRatio >= MOSTLY || intersectionRect.height > MOSTLY * (rootBounds?.height || Infinity);
    if (mostly) this.inView.add(target);
    else this.inView.delete(target);
  }

  // The long side of a tile's picture as it is drawn, never more than the picture has; 0 before it has come.
  static drawn(tile) {
    const picture = tile.querySelector("img");
    if (!picture.complete || !picture.naturalWidth) return 0;
    const [w, h] = [picture.naturalWidth, picture.naturalHeight];
    return Math.max(w, h) * Math.min(1, picture.clientWidth / w, picture.clientHeight / h);
  }

  tick() {
    const now = performance.now();
    const passed = Math.min(now - this.last, 2 * TICK_MS);
    this.last = now;
    if (document.hidden || document.querySelector("dialog[open]")) return;
    const candidates = [];
    for (const tile of this.inView) {
      if (!this.left.has(tile)) continue;
      const size = Seen.drawn(tile);
      const fits = size >= Math.min(this.least, Number(tile.dataset.long) || Infinity) - 1;
      if (size) this.say(tile, fits ? "no" : "small");
      if (fits) candidates.push(tile);
    }
    for (const tile of candidates) {
      const spent = (this.spent.get(tile) || 0) + passed / candidates.length;
      this.spent.set(tile, spent);
      if (spent >= LOOK_MS) this.done(tile);
    }
    if (!this.left.size) clearInterval(this.timer);
  }

  done(tile) {
    this.left.delete(tile);
    this.say(tile, "yes");
    tile.classList.remove("unseen");
  }

  say(tile, what) {
    if (tile.dataset.seen === what) return;
    tile.dataset.seen = what;
    const line = tile.querySelector(".seenmark");
    if (line) line.textContent = WORDS[what];
  }

  // Shows what was not seen yet; returns how many there are, and how many of them are drawn too small.
  demand(tiles) {
    const missing = tiles.filter((tile) => this.left.has(tile));
    for (const tile of missing) tile.classList.add("unseen");
    if (missing.length) missing[0].scrollIntoView({ block: "center" });
    return { missing: missing.length, small: missing.filter((tile) => tile.dataset.seen === "small").length };
  }
}

export function unseenWords({ missing, small }) {
  if (small) return `${small} of the photos ${small === 1 ? "is" : "are"} drawn too small to judge: make the pictures larger, or open them.`;
  return `${missing} of these photos ${missing === 1 ? "has" : "have"} not been on the screen yet, or too briefly: look at ${missing === 1 ? "it" : "them"} first.`;
}
