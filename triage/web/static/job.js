// Follows long work by server-sent events: a bar under the header, with a way to stop it.
import { address, complain, element, post, tell } from "./common.js";

const bar = document.getElementById("job");

export function follow(job, atEnd = null) {
  const source = new EventSource(address(`work/events?job=${job}`));
  let ended = false;
  source.onmessage = (event) => {
    const now = JSON.parse(event.data);
    if (now.state === "running") show(now);
    else { ended = true; source.close(); finish(now); if (atEnd) atEnd(now); }
  };
  source.addEventListener("end", () => { source.close(); if (!ended) bar.hidden = true; });
}

function show(now) {
  bar.hidden = false;
  const known = now.total !== null && now.total > 0;
  const count = now.total ? `${now.done} of ${now.total}` : now.done || "";
  bar.replaceChildren(
    element("strong", { text: now.words }), element("span", { text: `${now.what} ${count}` }),
    element("progress", { max: known ? now.total : false, value: known ? now.done : false, "aria-label": now.words }),
    element("button", { type: "button", text: now.stopping ? "Stopping …" : "Stop", disabled: now.stopping, onclick: stop }),
  );
}

function stop() { post("work/stop", {}).then((told) => tell(told.told)).catch(complain); }

function finish(now) {
  const lines = now.lines.join(" ");
  const inside = [element("strong", { text: now.words }), element("span", { text: `${now.state === "done" ? "" : `${now.state}. `}${lines}` })];
  if (now.where) inside.push(element("a", { href: now.where, text: now.where_words }));
  inside.push(element("button", { type: "button", text: "Close", onclick: () => { bar.hidden = true; } }));
  bar.hidden = false;
  bar.replaceChildren(...inside);
}

if (document.body.dataset.job) {
  follow(document.body.dataset.job, () => { if (document.querySelector("[data-reload]")) location.reload(); });
}
