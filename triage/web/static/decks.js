// Fetches the order again once every deck is assessed.
import { address } from "./common.js";

const order = document.getElementById("order");

async function again() {
  const response = await fetch(address(`order${location.search}`));
  if (!response.ok) return;
  order.innerHTML = await response.text();
  if (order.querySelector("[data-working]")) setTimeout(again, 500);
}

if (order.dataset.ready === "no") again();
