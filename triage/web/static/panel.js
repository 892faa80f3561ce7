// The side of the photo: what is asked, what was said, what the machine says, what it means.
import { capital, element } from "./dom.js";

export { capital };

export const VALUES = { present: "yes", absent: "no", unclear: "cannot tell" };
const PILES = { likely: "likely", unsure: "not sure", unlikely: "unlikely, under a promise" };

export function asks(question) {
  return question.kind === "element" ? `Does it show the ${question.words}?` : `${capital(question.words)}?`;
}

export function showQuestion(into, question, trouble, blind) {
  into.replaceChildren(element("h2", { text: asks(question) }));
  const line = (text, kind = "") => into.append(element("p", { text, class: kind }));
  if (trouble) line(trouble, "warn");
  if (blind && !question.others.length) line("A blind second look: what others answered is shown after your answer.", "quiet");
  if (question.mine) line(`You said ${VALUES[question.mine.value]}${details(question.mine)}.`);
  for (const other of question.others) line(`${other.by} said ${VALUES[other.value]}${details(other)}.`, "quiet");
  if (question.disputed) line("People disagree; it counts as the worse until somebody settles it.", "warn");
  if (question.settled) line(`Settled as ${VALUES[question.value]}.`);
  const marks = question.mine && question.mine.value === "present" ? question.mine.boxes.length : 0;
  if (marks) line(`${marks} marked and ${question.mine.saving ? "being saved …" : "saved"}. Backspace takes the last mark away; P goes on.`);
  else if (question.mine && question.mine.value === "present" && question.kind === "defect") {
    line("Where is it? Press K, then click the spot or drag a box: a marked place teaches the model more than any other label.");
  }
}

function details(label) {
  const parts = [];
  if (label.boxes.length) parts.push(label.boxes.length === 1 ? "one place marked" : `${label.boxes.length} places marked`);
  if (label.place) parts.push(label.place);
  if (label.count !== null) parts.push(`count ${label.count}`);
  if (label.note) parts.push(`“${label.note}”`);
  return parts.length ? ` (${parts.join(", ")})` : "";
}

export function showMachine(into, question, shown, kept, first) {
  into.replaceChildren();
  if (!question.machine) return;
  if (kept) {
    const why = first ? "one question in five, so that its errors show." : "you judge the photo first.";
    into.append(element("p", { class: "quiet", text: `The machine's word is kept back on this one until you have decided: ${why}` }));
  } else if (shown) {
    const place = question.machine.where.length ? " The dashed box is where it looked: a hint, often beside the thing." : "";
    into.append(element("p", { text: `Machine: ${machineWords(question.machine)}.${place}` }));
  }
}

export function machineWords({ pile, probability }) {
  return probability === null ? PILES[pile] : `${PILES[pile]} (${Math.round(probability * 100)} in 100)`;
}

export function showMeaning(into, meaning) {
  into.replaceChildren();
  if (!meaning) return;
  into.append(element("p", { text: meaning.definition }));
  if (meaning.examples && meaning.examples.length) {
    const pictures = meaning.examples.map((one) => element("figure", {}, element("img", { src: one.picture, alt: one.words, loading: "lazy" }), element("figcaption", { text: one.words })));
    into.append(element("div", { class: "examples" }, ...pictures, element("p", { class: "note", text: meaning.examples[0].origin })));
  } else if (meaning.examples) into.append(element("p", { class: "note", text: meaning.no_picture }));
  const list = element("dl");
  for (const [head, text] of [["Looks like", meaning.looks_like], ["Looks alike but is not", meaning.looks_alike]]) {
    if (text) list.append(element("dt", { text: head }), element("dd", { text }));
  }
  into.append(list);
}

export function showQuestions(into, questions, tag, choose) {
  into.replaceChildren();
  const groups = [["", questions.filter((one) => one.kind !== "element")], ["Parts it shows", questions.filter((one) => one.kind === "element")]];
  for (const [head, group] of groups) {
    if (head && group.length) into.append(element("h3", { text: head }));
    for (const one of group) {
      const value = one.value ? VALUES[one.value] + (one.disputed ? ", disputed" : "") : "–";
      into.append(element("button", {
        type: "button", "aria-current": one.tag === tag ? "true" : false, onclick: () => choose(one.tag),
      }, element("span", { text: capital(one.words) }), element("span", { class: "value", text: value })));
    }
  }
}

export function showHistory(into, rows) {
  const list = element("ul");
  for (const row of rows) {
    const saw = row.saw_machine ? ", after seeing the machine's word" : "";
    const was = row.replaced ? `, was ${VALUES[row.replaced]}` : "";
    list.append(element("li", { class: row.undone ? "undone" : false },
      `${row.at.slice(0, 16)} `, element("bdi", { text: row.by }),
      `: ${row.words}: ${VALUES[row.value]}${was}${row.box.length ? ", place marked" : ""}${saw}${row.undone ? " (taken back)" : ""}`));
  }
  into.replaceChildren(rows.length ? list : element("p", { text: "Nothing was said yet." }));
}

export function showStrip(into, siblings, sha, go) {
  const known = into.dataset.of === siblings.map((one) => one.sha).join();
  if (!known) {
    into.dataset.of = siblings.map((one) => one.sha).join();
    into.replaceChildren(...siblings.map((one) => {
      const picture = element("img", { src: one.thumb, alt: one.name, loading: "lazy" });
      return element("a", {
        href: one.page, "data-sha": one.sha,
        onclick: (event) => { if (event.metaKey || event.ctrlKey) return; event.preventDefault(); go(one.sha); },
      }, picture);
    }));
  }
  for (const link of into.children) {
    if (link.dataset.sha === sha) { link.setAttribute("aria-current", "true"); link.scrollIntoView({ block: "nearest", inline: "center" }); }
    else link.removeAttribute("aria-current");
  }
}
