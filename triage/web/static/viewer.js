// The viewer over the photos of any page of this server.
import { complain, get, post, tell } from "./common.js";
import { Viewer } from "./window.js";

// A viewer that tells what it does where this page tells everything.
export function viewerOf(given) { return new Viewer({ tell, complain, said: document.getElementById("said"), ...given }); }

// ---- over the photos of any page ------------------------------------------------------------------------------

// A photo as the server gives it, asked about one tag where a link names one.
export async function photoOf(sha, tag = "") { return get(`item/${sha}${tag ? `?tag=${encodeURIComponent(tag)}` : ""}`); }

function askedOf(item) {
  const one = item.asked && item.questions.find((each) => each.tag === item.asked);
  return one ? { words: one.kind === "element" ? `Shows ${one.words}` : one.words, value: one.mine && one.mine.value, boxes: one.mine ? one.mine.boxes : [], others: one.others.flatMap((other) => other.boxes) } : null;
}

let over = null;
export function openOver(list, sha, tagOf) {
  over ||= viewerOf({
    photo: async (one) => ({ ...(await photoOf(one, over.tagOf(one))), asked: over.tagOf(one) }),
    asks: askedOf,
    answer: async (item, value, boxes) => {
      const told = await post("answer", { photo: item.sha, tag: item.asked, value, boxes, asked_by: "taken", saw_machine: false });
      tell(told.told || "Saved.");
    },
    undo: async () => {
      const told = await post("undo", {});
      tell(told.told);
      return told.photos[0];
    },
  });
  over.tagOf = tagOf;
  over.open(list, sha);
}

// Every picture that leads to a photo opens in the viewer; with Control, Shift or another button it is a link as ever.
document.addEventListener("click", (event) => {
  const link = event.target.closest("a[data-view], button[data-view-photo]");
  if (!link || event.metaKey || event.ctrlKey || event.shiftKey || event.button) return;
  event.preventDefault();
  const scope = link.closest("[data-viewlist]") || document;
  const links = [...scope.querySelectorAll("a[data-view], button[data-view-photo]")];
  const shaOf = (one) => one.dataset.view || one.dataset.viewPhoto;
  const tags = new Map(links.map((one) => [shaOf(one), one.dataset.tag || ""]));
  tags.set(shaOf(link), link.dataset.tag || "");
  openOver([...new Set(links.map(shaOf))], shaOf(link), (sha) => tags.get(sha) || "");
});
