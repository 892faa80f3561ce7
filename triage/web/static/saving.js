// Saving an answer until it is on the disk, and keeping what was typed until it is part of an answer.
import { Refused, post } from "./common.js";

const UNSENT = "unsent:";
const scope = () => `${document.body.dataset.base}:${document.body.dataset.by}`;

function read(store, key) { try { return JSON.parse(store.getItem(key)); } catch { return null; } }
function write(store, key, value) {
  try { if (value === null) store.removeItem(key); else store.setItem(key, JSON.stringify(value)); } catch { /* a full or closed store keeps nothing */ }
}

// An answer that is sent again and again until the server says that it is on the disk.
export class Saving {
  // `onTrouble(message)` is told why an answer is not saved yet, and null once it is.
  constructor(onTrouble) { this.onTrouble = onTrouble; this.failing = false; this.sending = 0; this.wake = null; }

  async send(where, data) {
    this.sending += 1;
    this.dropped = false;
    write(sessionStorage, UNSENT + scope(), { where, data });
    try {
      for (let pause = 1000; ; pause = Math.min(2 * pause, 10_000)) {
        try {
          const told = await post(where, data);
          write(sessionStorage, UNSENT + scope(), null);
          this.clear();
          return told;
        } catch (error) {
          if (error instanceof Refused) {
            if (!error.needName) write(sessionStorage, UNSENT + scope(), null);
            this.failing = false;
            throw error;
          }
          this.failing = true;
          this.onTrouble("Not saved yet: the page's server did not answer. It is sent again until it is saved.");
          await new Promise((done) => { this.wake = done; setTimeout(done, pause); });
          if (this.dropped) { write(sessionStorage, UNSENT + scope(), null); this.clear(); throw new Refused("That answer was not saved."); }
        }
      }
    } finally { this.sending -= 1; }
  }

  clear() { if (this.failing) { this.failing = false; this.onTrouble(null); } }
  now() { if (this.wake) this.wake(); }
  drop() { this.dropped = true; this.now(); }

  // What an earlier visit of this tab could not save.
  static unsent() { return read(sessionStorage, UNSENT + scope()); }
}

// Words, counts and notes as they are typed, by photo and tag, kept in this browser until they are answered with.
export const drafts = {
  key: (sha, tag) => `draft:${scope()}:${sha}:${tag}`,
  get: (sha, tag) => read(localStorage, drafts.key(sha, tag)),
  set: (sha, tag, value) => write(localStorage, drafts.key(sha, tag), value),
  drop: (sha, tag) => write(localStorage, drafts.key(sha, tag), null),
};
