// Fetches the order again once every deck is assessed.
import { address } from "./common.js";

const order = document.getElementById("order");

async function again() {
  const response = await fetch(address(`order${location.search}`));
  if (!response.ok) return;
  order.innerHTML = await response.text();
  foldPlan();
  if (order.querySelector("[data-working]")) setTimeout(again, 500);
}

// On a telephone the plan would fill two screens before the first deck: there it opens by a tap.
function foldPlan() {
  if (matchMedia("(max-width: 760px)").matches) order.querySelector("details.plan")?.removeAttribute("open");
}

foldPlan();
if (order.dataset.ready === "no") again();
