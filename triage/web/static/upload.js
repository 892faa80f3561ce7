// Sends files one by one as they are; folders keep their inner paths, nothing else of this machine's disk is told.
import { address, complain, element, post, tell } from "./common.js";
import { follow } from "./job.js";

const at = (name) => document.getElementById(name);
const GOOD = /\.(jpe?g|jpe|png|heic|heif|hif|webp|tiff?|zip)$/i;
const AT_ONCE = 3;
let stopped = false;
let sending = false;
let leftOut = [];

function leaveOut(name, reason) {
  leftOut.push([name, reason]);
  const list = at("left-out").querySelector("ul");
  at("left-out").hidden = false;
  if (list.children.length < 200) list.append(element("li", {}, element("bdi", { text: name }), `: ${reason}`));
}

async function send(files) {
  leftOut = [];
  const wanted = files.filter(([name]) => {
    const fine = GOOD.test(name) && !name.split("/").some((part) => part.startsWith("."));
    if (!fine && !/(^|\/)(\.|thumbs\.db|desktop\.ini)/i.test(name)) leaveOut(name, "neither a photo nor a zip");
    return fine;
  });
  if (!wanted.length) { tell("There are no photos among these files.", true); return; }
  stopped = false;
  const { upload, most_files: most } = await post("add/begin", { planned: wanted.length, left_out: leftOut.splice(0) });
  if (wanted.length > most) { tell(`At most ${most} files can be sent at once.`, true); return; }
  at("sending").hidden = false;
  sending = true;
  let done = 0;
  const show = () => { at("sending-words").textContent = `Sent ${done} of ${wanted.length}`; at("sending-bar").value = done / wanted.length; };
  show();
  const waiting = [...wanted];
  const one = async () => {
    for (let next = waiting.shift(); next && !stopped; next = waiting.shift()) {
      const [name, file] = next;
      try {
        const response = await fetch(address(`add/${upload}/file?name=${encodeURIComponent(name)}`), { method: "POST", body: file });
        if (!response.ok) leaveOut(name, (await response.json()).error);
      } catch { leaveOut(name, "could not be read or sent"); }
      done += 1;
      show();
    }
  };
  await Promise.all(Array.from({ length: AT_ONCE }, one));
  at("sending").hidden = true;
  sending = false;
  if (stopped) tell("Stopped sending. What was sent is taken in.");
  const { job } = await post("add/take", { upload, deck: at("deck").value, visit: at("visit").value, by_cards: at("by-cards").checked, left_out: leftOut.splice(0) });
  follow(job, () => location.reload());
}

// Leaving now would cut the sending off; what arrived by then is listed on this page.
window.addEventListener("beforeunload", (event) => { if (sending) event.preventDefault(); });

at("sending-stop").addEventListener("click", () => { stopped = true; });
for (const name of ["folder", "files"]) {
  at(name).addEventListener("change", (event) => {
    const files = [...event.target.files].map((file) => [file.webkitRelativePath || file.name, file]);
    event.target.value = "";
    send(files).catch(complain).finally(() => { sending = false; });
  });
}

const drop = at("drop");
for (const kind of ["dragenter", "dragover"]) {
  drop.addEventListener(kind, (event) => { event.preventDefault(); drop.classList.add("over"); });
}
drop.addEventListener("dragleave", () => drop.classList.remove("over"));
drop.addEventListener("drop", async (event) => {
  event.preventDefault();
  drop.classList.remove("over");
  const entries = [...event.dataTransfer.items].map((item) => item.webkitGetAsEntry && item.webkitGetAsEntry()).filter(Boolean);
  const files = [];
  for (const entry of entries) await walk(entry, "", files);
  send(files).catch(complain).finally(() => { sending = false; });
});

async function walk(entry, path, into) {
  if (entry.isFile) {
    into.push([path + entry.name, await new Promise((yes, no) => entry.file(yes, no))]);
    return;
  }
  const reader = entry.createReader();
  for (;;) {
    const some = await new Promise((yes, no) => reader.readEntries(yes, no));
    if (!some.length) return;
    for (const one of some) await walk(one, `${path}${entry.name}/`, into);
  }
}
