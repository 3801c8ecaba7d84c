// Drawing by keys: with a tool in hand arrows move a cross-hair over the main picture, Enter or
// space sets a point there, Escape ends. Comes before the room's own keys.

import { svg } from "./ink.js";

const STEP = 0.01; // of the picture's height; with shift
const FAR = 5;
const MOVES = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
const TYPED_INTO = "input:not([type=checkbox]), textarea, select, [contenteditable], dialog";

export function startCrossHair(
  room, overlay, pen, { tool, escape, keysOn, step = STEP, far = FAR },
) {
  let at = [0.5, 0.5];
  let shown = false;

  const cross = ({ w, h, units }) => {
    const [x, y, arm] = [at[0] * w, at[1] * h, 14 * units];
    const d = `M${x - arm} ${y}H${x + arm}M${x} ${y - arm}V${y + arm}`;
    return svg("g", { "data-cross-hair": "", class: "cross-hair" },
      svg("path", { d, class: "casing" }), svg("path", { d, class: "ink" }));
  };
  const main = () => room.view(room.now().main);
  const paint = () => pen.preview(main(), at, cross(overlay.sheet(main().key)));

  function move([across, down], steps) {
    if (shown) {
      const { w, h } = overlay.sheet(main().key);
      const by = [across * step * (h / w), down * step];
      at = at.map((value, axis) => Math.min(1, Math.max(0, value + by[axis] * steps)));
    }
    shown = true;
    paint();
  }

  function set() {
    const view = main();
    shown = true;
    pen.add(view, at);
    paint();
  }

  document.addEventListener("keydown", (event) => {
    const { key, target } = event;
    if (!tool() || event.altKey || event.ctrlKey || event.metaKey || event.isComposing) return;
    if (target.closest(TYPED_INTO) || document.querySelector("dialog[open]")) return;
    const sets = key === "Enter" || key === " ";
    if (!(key in MOVES) && !sets && key !== "Escape") return;
    if (key !== "Escape" && (!keysOn() || target.closest("[data-handle], [role=slider]"))) return;
    if (sets && target.closest("button, a, summary, input")) return; // it presses them
    event.preventDefault();
    event.stopImmediatePropagation();
    if (key === "Escape") escape();
    else if (sets) set();
    else move(MOVES[key], event.shiftKey ? far : 1);
  }, { capture: true });

  return {
    // Where a hand pointed last, the cross-hair begins.
    show: () => { shown = true; paint(); },
    hide: () => { shown = false; },
    shown: () => shown,
  };
}
