// Any tag on any photo: typing finds the firm's own and the others by their words.
export class TagPicker {
  // `tags` by name with their words; `onPick(tag)` is told the one that was typed whole or chosen.
  constructor(input, tags, onPick) {
    const names = new Map(Object.entries(tags).map(([tag, one]) => [one.words.toLowerCase(), tag]));
    const list = document.getElementById(input.getAttribute("list"));
    for (const [tag, one] of Object.entries(tags)) {
      const option = document.createElement("option");
      option.value = one.words;
      option.label = one.kind === "element" ? "a part" : tag;
      list.append(option);
    }
    const pick = () => {
      const typed = input.value.trim().toLowerCase();
      const starts = [...names.keys()].filter((words) => words.includes(typed));
      const tag = names.get(typed) || (typed in tags ? typed : null) || (typed && starts.length === 1 ? names.get(starts[0]) : null);
      if (!tag) { input.setCustomValidity(typed ? "There is no such tag, or more than one: choose one of the list." : ""); input.reportValidity(); return; }
      input.setCustomValidity("");
      input.value = "";
      input.blur();
      onPick(tag);
    };
    input.addEventListener("change", () => { if (names.has(input.value.trim().toLowerCase())) pick(); });
    input.addEventListener("input", () => input.setCustomValidity(""));
    input.addEventListener("keydown", (event) => {
      if (event.key === "Enter") { event.preventDefault(); pick(); }
      if (event.key === "Escape") { input.value = ""; input.blur(); }
    });
  }
}
