// A page that shows what is known so far asks again after a while.
const waiting = document.querySelector("[data-again]");
if (waiting) setTimeout(() => location.reload(), Number(waiting.dataset.again));
