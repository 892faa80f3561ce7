// Keys take turns: each acts on the question that is shown when its turn comes, and its turn comes when that
// question's own picture stands on the screen. A key that came early waits; none is lost, none falls elsewhere.
const STANDS_MS = 150;
const MOST = 40;

export class Turns {
  // `view` shows the photos; `onWaiting(count)` is told how many keys wait; `onError(error)` of an act that failed.
  constructor(view, onWaiting, onError) {
    Object.assign(this, { view, onWaiting, onError, waiting: [], running: false });
  }

  // `looks`: the act says something about the photo, so the photo must have been on the screen.
  push(act, looks = true) {
    if (this.waiting.length >= MOST) return false;
    this.waiting.push({ act, looks });
    this.run();
    return true;
  }

  // Drops what waits; returns how many keys that were.
  drop() {
    const count = this.waiting.length;
    this.waiting = [];
    this.onWaiting(0);
    return count;
  }

  async run() {
    if (this.running) return;
    this.running = true;
    while (this.waiting.length) {
      this.onWaiting(this.waiting.length);
      const next = this.waiting[0];
      if (next.looks && !(await this.view.stoodFor(STANDS_MS))) { this.drop(); break; }
      if (this.waiting[0] !== next) continue;   // dropped while it waited
      this.waiting.shift();
      try { await next.act(); } catch (error) { this.drop(); this.onError(error); }
    }
    this.onWaiting(0);
    this.running = false;
  }
}
