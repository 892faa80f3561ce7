// Before and after side by side: the chosen photo of each stands large above its choices.
import { address } from "./common.js";
import { openOver } from "./viewer.js";

for (const big of document.querySelectorAll("[data-big]")) {
  const picture = big.querySelector("img");
  const choices = document.querySelectorAll(`#closing input[name=${big.dataset.big}]`);
  const show = (choice) => { picture.src = address(`picture/${choice.value}`); picture.hidden = false; };
  for (const choice of choices) {
    choice.addEventListener("change", () => show(choice));
    if (choice.checked) show(choice);
  }
}

// A click on a large picture opens the viewer over both, to be compared with each other.
for (const big of document.querySelectorAll("[data-look]")) {
  big.addEventListener("click", () => {
    const chosen = ["before", "after"].map((name) => document.querySelector(`#closing input[name=${name}]:checked`)).filter(Boolean).map((one) => one.value);
    const sha = document.querySelector(`#closing input[name=${big.dataset.look}]:checked`);
    if (sha) openOver([...new Set(chosen)], sha.value, () => "");
  });
}

// What the photos after are compared with is the photo before that is chosen.
const likely = document.getElementById("likely");
for (const choice of document.querySelectorAll("#closing input[name=before]")) {
  choice.addEventListener("change", () => {
    const to = new URL(likely.href);
    to.searchParams.set("likely", choice.value);
    likely.href = to;
  });
}
