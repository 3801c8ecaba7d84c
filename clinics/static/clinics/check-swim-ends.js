// The ends of a clip on the lane strip of its recording: two handles, moved by pointer, by touch
// and by arrow keys, frame by frame. The number fields say the same and are what is sent, so all
// of it works without this script, too. A still of each end follows.

import { clock, frameAt, percentAt, secondsAt } from "./check-swim-time.js";

const STEPS = {
  ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageDown: -10, PageUp: 10,
};
const STILL_AFTER_MS = 250;
const ENDS = ["first", "last"];

function start(root) {
  const knots = JSON.parse(root.dataset.knots);
  const possible = Number(root.dataset.lastPossible);
  const part = (name, end) => root.querySelector(`[data-ends-${name}${end ? `="${end}"` : ""}]`);
  const field = (end) => root.querySelector(`[name="${end}_frame"]`);
  const details = root.closest("details");
  const track = part("track");
  const at = { first: Number(field("first").value), last: Number(field("last").value) };
  let timer = 0;

  function draw() {
    const x = ENDS.map((end) => percentAt(knots, at[end]));
    part("span").style.left = `${x[0]}%`;
    part("span").style.width = `${x[1] - x[0]}%`;
    ENDS.forEach((end, n) => {
      const handle = part("handle", end);
      const words = clock(secondsAt(knots, at[end]));
      handle.style.left = `${x[n]}%`;
      handle.ariaValueNow = at[end];
      handle.ariaValueText = root.dataset.wordsClock
        .replace("{frame}", at[end])
        .replace("{clock}", words);
      part("clock", end).textContent = handle.ariaValueText;
    });
    clearTimeout(timer);
    timer = setTimeout(drawStills, STILL_AFTER_MS);
  }

  function drawStills() {
    if (!details.open) return;
    for (const end of ENDS) {
      const still = part("still", end);
      const url = root.dataset.frameUrl.replace(/0\/$/, `${at[end]}/`);
      if (still.getAttribute("src") !== url) still.src = url;
    }
  }

  function set(end, frame) {
    const [low, high] = end === "first" ? [0, at.last] : [at.first, possible];
    at[end] = Math.min(high, Math.max(low, frame));
    field(end).value = at[end];
    draw();
  }

  function moveBoth(frames) {
    const by = Math.min(possible - at.last, Math.max(-at.first, frames));
    for (const end of ENDS) field(end).value = at[end] += by;
    draw();
  }

  for (const end of ENDS) {
    const handle = part("handle", end);
    const still = part("still", end);
    const follow = (event) => {
      const box = track.getBoundingClientRect();
      const [begin, stop] = [knots[0][1], knots[knots.length - 1][1]];
      set(end, frameAt(knots, begin + ((stop - begin) * (event.clientX - box.left)) / box.width));
    };
    handle.addEventListener("pointerdown", (event) => {
      if (event.button > 0) return;
      event.preventDefault();
      handle.focus();
      handle.setPointerCapture(event.pointerId);
    });
    handle.addEventListener("pointermove", (event) => {
      if (handle.hasPointerCapture(event.pointerId)) follow(event);
    });
    handle.addEventListener("keydown", (event) => {
      if (event.altKey || event.ctrlKey || event.metaKey) return;
      const ends = { Home: knots[0][0], End: knots[knots.length - 1][0] };
      const steps = STEPS[event.key] * (event.shiftKey ? 10 : 1);
      if (!steps && !(event.key in ends)) return;
      event.preventDefault();
      set(end, steps ? at[end] + steps : ends[event.key]);
    });
    // While it is typed the number may be anything; it counts when the field is left.
    field(end).addEventListener("change", () => set(end, Math.round(Number(field(end).value) || 0)));
    still.addEventListener("error", () => (still.hidden = true));
    still.addEventListener("load", () => (still.hidden = false));
  }
  for (const button of root.querySelectorAll("[data-ends-nudge]")) {
    button.addEventListener("click", (event) => {
      event.preventDefault(); // looked at first, then kept: one act and one rendering
      moveBoth(Number(button.dataset.endsNudge));
    });
  }
  details.addEventListener("toggle", draw);
  track.hidden = false;
  part("stills").hidden = false;
  draw();
}

for (const root of document.querySelectorAll("[data-ends]")) start(root);
