// Points of one's own drawings that can be taken and moved, by a hand or by arrows; not those of
// a free trace, which has hundreds.

import { svg } from "./ink.js";
import { fractionAt } from "./place.js";

const STEP = 0.005; // of the picture's height; with shift
const FAR = 5;
const MOVES = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
const within = (value) => Math.min(1, Math.max(0, value));

export function startHandles(room, overlay, store, { active, label, step = STEP, onTake = () => {} }) {
  let held = false;
  const layers = new Map(room.views.map(({ key, overlay: area }) => {
    const layer = svg("g", { "data-handles": "" });
    area.append(layer);
    return [key, layer];
  }));

  function handle(view, drawing, n) {
    const { w, h, units } = overlay.sheet(view.key);
    const before = drawing.points;
    let points = before;
    const grip = svg("circle", { r: 22 * units, class: "grip" });
    const dot = svg("circle", { r: 7 * units, class: "dot" });
    const element = svg("g", { "data-handle": n, "data-of": drawing.key, tabindex: 0, role: "button",
      "aria-label": label(drawing, n) }, grip, dot);
    const put = () => element.setAttribute(
      "transform", `translate(${points[n][0] * w} ${points[n][1] * h})`);
    const to = (point) => {
      points = points.map((one, at) => (at === n ? point : one));
      put();
      store.preview(drawing.key, points);
    };
    const done = async () => {
      held = false;
      await store.move(drawing.key, points, before);
    };
    put();
    element.addEventListener("pointerdown", (event) => {
      event.preventDefault();
      event.stopPropagation();
      held = true;
      onTake(drawing.key);
      element.setPointerCapture(event.pointerId);
    });
    element.addEventListener("pointermove", (event) => {
      if (element.hasPointerCapture(event.pointerId))
        to(fractionAt(view.overlay.getBoundingClientRect(), w, h, [event.clientX, event.clientY]));
    });
    element.addEventListener("pointerup", () => { if (held) done(); });
    element.addEventListener("pointercancel", () => { to(before[n]); held = false; });
    element.addEventListener("keydown", (event) => {
      const by = MOVES[event.key];
      if (!by && event.key !== "Enter") return;
      event.preventDefault();
      event.stopPropagation();
      held = Boolean(by);
      const steps = step * (event.shiftKey ? FAR : 1);
      const [x, y] = points[n];
      if (by) to([within(x + by[0] * steps * (h / w)), within(y + by[1] * steps)]);
      else element.blur();
    });
    element.addEventListener("focus", () => onTake(drawing.key));
    element.addEventListener("blur", () => { if (points !== before) done(); });
    return element;
  }

  return {
    refresh() {
      if (held) return;
      // an answer of the server takes nobody's point away
      const { of, handle: nth } = document.activeElement?.dataset ?? {};
      for (const [key, layer] of layers) {
        const mine = active() ? overlay.shown(key).filter((one) =>
          one.mine && (one.kind !== "trace" || one.straight)) : [];
        if (!mine.length && !layer.firstChild) continue;
        layer.replaceChildren(...mine.flatMap((one) =>
          one.points.map((_, n) => handle(room.view(key), one, n))));
        if (nth !== undefined)
          layer.querySelector(`[data-of="${of}"][data-handle="${nth}"]`)?.focus();
      }
    },
  };
}
