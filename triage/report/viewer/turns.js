// Keys take turns: each acts on the question that is shown when its turn comes, and its turn comes when that
// question's own picture stands on the screen. A key that came early waits; none is lost, none falls elsewhere.
const STANDS_MS = 150;
const MOST = 40;

export class Turns {
  // `view` shows the photos; `onWaiting(count)` is told how many keys wait; `onError(error)` of an act that failed.
  constructor(view, onWaiting, onError) {
    Object.assign(this, { view, onWaiting, onError, waiting: [], running: false });
  }

  // `looks`: the act says something about the photo, so the photo must have been on the screen. A mark names with
  // `dropped` what to do where it could not be kept: it was made and seen, so Escape drops keys and never marks.
  push(act, looks = true, dropped = null) {
    if (this.waiting.length >= MOST) return false;
    this.waiting.push({ act, looks, dropped });
    this.run();
    return true;
  }

  // Drops the keys that wait, and the marks too where they cannot be kept; returns how many that were.
  drop(marksToo = false) {
    const gone = this.waiting.filter(({ dropped }) => marksToo || !dropped);
    this.waiting = this.waiting.filter((one) => !gone.includes(one));
    this.onWaiting(this.waiting.length);
    for (const { dropped } of gone) if (dropped) dropped();
    return gone.length;
  }

  async run() {
    if (this.running) return;
    this.running = true;
    while (this.waiting.length) {
      this.onWaiting(this.waiting.length);
      const next = this.waiting[0];
      if (next.looks && !(await this.view.stoodFor(STANDS_MS))) { this.drop(true); break; }
      if (this.waiting[0] !== next) continue;   // dropped while it waited
      this.waiting.shift();
      try { await next.act(); } catch (error) { this.drop(true); this.onError(error); }
    }
    this.onWaiting(0);
    this.running = false;
  }
}
