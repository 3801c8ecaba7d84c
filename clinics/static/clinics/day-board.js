// Says so when no news comes: a board that stands still looks just like one that is right. And lets
// no press get lost: the kit asks for itself, and htmx drops what comes meanwhile (hx-sync).

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

const KIT = "#day-kit";
let sending = false;
let pressed = []; // ids of buttons that wait for the press before them

document.body.addEventListener("htmx:confirm", (event) => {
  const kit = event.target.closest(KIT);
  if (!kit || event.target === kit) return;
  const button = event.detail.triggeringEvent?.submitter;
  if (!sending) return void window.htmx.trigger(kit, "htmx:abort"); // its own question
  event.preventDefault();
  if (button?.id) pressed.push(button.id);
});
const isPress = ({ detail: { requestConfig } }) =>
  requestConfig.verb === "post" && requestConfig.elt.matches(".day-buttons");
document.body.addEventListener("htmx:beforeRequest", (event) => { sending ||= isPress(event); });
document.body.addEventListener("htmx:afterRequest", (event) => {
  if (!isPress(event)) return;
  sending = false;
  if (!event.detail.successful) pressed = [];
});
document.body.addEventListener("htmx:afterSettle", () => {
  if (!sending && pressed.length) document.getElementById(pressed.shift())?.click();
});
