// What is left before a report may be issued, fetched after the page: a large library is gone through deck by deck.
import { address } from "./common.js";

const place = document.getElementById("ready");
if (place) {
  fetch(address("work/ready")).then(async (response) => { if (response.ok) place.innerHTML = await response.text(); else place.textContent = "This could not be found out: load the page again."; })
    .catch(() => { place.textContent = "The page's server did not answer. Is it still running?"; });
}
