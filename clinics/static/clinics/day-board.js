// Says so when no news comes: a board that stands still looks just like one that is right.

const STALE_AFTER_MS = 25000;
const LOOK_EVERY_MS = 2000;
const RENEWED = ["day-lane", "day-kit"];

const main = document.querySelector("main.day-board");
const told = document.querySelector("[data-day-stale]");
const renews = () => RENEWED.some((id) => document.getElementById(id)?.hasAttribute("hx-get"));
let heard = performance.now();

function show() {
  const stale = renews() && performance.now() - heard > STALE_AFTER_MS;
  told.hidden = !stale;
  main.classList.toggle("is-stale", stale);
}

document.body.addEventListener("htmx:afterSwap", (event) => {
  if (!RENEWED.includes(event.detail.target?.id)) return;
  heard = performance.now();
  show();
});
window.setInterval(show, LOOK_EVERY_MS);
