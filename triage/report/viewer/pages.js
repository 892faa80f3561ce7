// The viewer over the photos of a report: one file by itself, without a server and without a network.
import { element } from "./dom.js";
import { Viewer } from "./window.js";

const said = element("div", { class: "said", role: "status", "aria-live": "polite" });
const tell = (text) => said.replaceChildren(element("p", { text }));

// The boxes and spots that are drawn over a photo, each with a light line under it, as fractions.
function drawnOver(photo, width, height) {
  return [...photo.querySelectorAll("svg > *")].filter((_, place) => place % 2).map((one) => {
    const part = (name) => Number(one.getAttribute(name) || 0);
    return [(part("x") + part("cx")) / width, (part("y") + part("cy")) / height, part("width") / width, part("height") / height];
  });
}

function itemOf(photo, place, words) {
  const image = photo.querySelector("img");
  const [width, height] = [Number(image.getAttribute("width")), Number(image.getAttribute("height"))];
  return { sha: `${words} ${place}`, name: image.alt, picture: image.src, full: image.src, width, height, visit: null, layers: [{ kind: "mine", boxes: drawnOver(photo, width, height) }] };
}

let viewer = null;
function open(items, sha, from) {
  viewer ||= new Viewer({ photo: async (one) => ({ ...viewer.items.get(one), siblings: [...viewer.items.values()] }), closed: () => viewer.from.focus(), tell, complain: (error) => tell(error.message), said });
  viewer.items = items;
  viewer.from = from;
  said.replaceChildren();
  viewer.open([...items.keys()], sha);
}

// The photos of one deck, or of the plan, are one row.
document.querySelectorAll("header.plan, section.deck").forEach((part, number) => {
  const photos = [...part.querySelectorAll(".photo")];
  const rows = photos.map((photo, place) => itemOf(photo, place, `part ${number} photo`));
  const items = new Map(rows.map((one) => [one.sha, one]));
  photos.forEach((photo, place) => {
    for (const [name, value] of [["tabindex", "0"], ["role", "button"], ["aria-label", `Look closely: ${rows[place].name}`]]) photo.setAttribute(name, value);
    photo.classList.add("opens");
    photo.addEventListener("click", () => open(items, rows[place].sha, photo));
    photo.addEventListener("keydown", (event) => { if (event.key === "Enter") { event.preventDefault(); photo.click(); } });
  });
});
