// Hands on the pictures: a tap plays or pauses; a finger's or pen's swipe goes to the next view
// of the same instant; a mouse drags frame by frame; two fingers enlarge; what is enlarged is
// moved. While a drawing tool is in hand all this rests.

import { makeJog, wheelPx } from "./jog.js";

const TAP_PX = 10;
const SWIPE_PX = 48;
const DRAG_PX_PER_FRAME = 10;
const WHEEL_PX_PER_FRAME = 100;

export function startHands(room, zooming, { tap, swipe, step }) {
  for (const view of room.views) startOn(view.figure.querySelector("[data-window]"), view.key);

  function startOn(area, key) {
    const down = new Map(); // pointer → where it is
    let from = null; // where a single pointer began
    let moved = false;
    let pinched = false;
    const jog = makeJog(DRAG_PX_PER_FRAME);
    const wheel = makeJog(WHEEL_PX_PER_FRAME);
    const place = (event) => [event.clientX, event.clientY];
    const spread = ([[ax, ay], [bx, by]]) => Math.hypot(ax - bx, ay - by);
    const middle = ([[ax, ay], [bx, by]]) => [(ax + bx) / 2, (ay + by) / 2];
    const rests = () => Boolean(room.element.dataset.tool);

    area.addEventListener("pointerdown", (event) => {
      if (rests() || event.button > 0 || event.target.closest("button")) return;
      down.set(event.pointerId, place(event));
      [from, moved, pinched] = [place(event), false, down.size > 1];
      jog.begin();
    });
    area.addEventListener("pointermove", (event) => {
      let was = down.get(event.pointerId);
      if (!was || rests()) return;
      const now = place(event);
      if (!area.hasPointerCapture(event.pointerId)) area.setPointerCapture(event.pointerId);
      if (down.size === 2) return pinch(event.pointerId, now);
      down.set(event.pointerId, now);
      if (!moved) {
        moved = Math.hypot(now[0] - from[0], now[1] - from[1]) >= TAP_PX;
        if (!moved) return;
        was = from; // the way until it was no tap counts, too
      }
      if (zooming.enlarged(key)) zooming.pan(key, [now[0] - was[0], now[1] - was[1]]);
      else if (event.pointerType === "mouse") {
        const frames = jog.add(now[0] - was[0]);
        if (frames) step(frames, key);
      }
    });
    area.addEventListener("pointerup", (event) => {
      if (!down.delete(event.pointerId) || pinched || rests()) return;
      const [dx, dy] = [event.clientX - from[0], event.clientY - from[1]];
      if (!moved) tap();
      else if (event.pointerType !== "mouse" && !zooming.enlarged(key) &&
        Math.abs(dx) > SWIPE_PX && Math.abs(dx) > 2 * Math.abs(dy)) swipe(dx < 0 ? 1 : -1);
    });
    area.addEventListener("pointercancel", (event) => down.delete(event.pointerId));
    area.addEventListener("wheel", (event) => {
      if (event.ctrlKey) {
        event.preventDefault();
        zooming.by(key, Math.exp(-wheelPx(event) / 300), place(event));
      } else if (!event.shiftKey && !rests()) {
        event.preventDefault();
        const frames = wheel.add(wheelPx(event));
        if (frames) step(frames, key);
      }
    }, { passive: false });

    function pinch(id, now) {
      const before = [...down.values()];
      down.set(id, now);
      const after = [...down.values()];
      const [was, is] = [middle(before), middle(after)];
      zooming.by(key, spread(after) / Math.max(1, spread(before)), is);
      zooming.pan(key, [is[0] - was[0], is[1] - was[1]]);
    }
  }
}

// A strip of its own for jogging, and the wheel over the lane strip.
export function startJogStrip(room, { step }) {
  const strip = room.element.querySelector("[data-jog]");
  const lane = room.element.querySelector("[data-lane-strip]");
  const jog = makeJog(DRAG_PX_PER_FRAME);
  const wheel = makeJog(WHEEL_PX_PER_FRAME);
  let at_px = 0;
  let turned_px = 0;
  strip.hidden = false;
  strip.addEventListener("pointerdown", (event) => {
    if (event.button > 0) return;
    strip.setPointerCapture(event.pointerId);
    at_px = event.clientX;
    jog.begin();
  });
  strip.addEventListener("pointermove", (event) => {
    if (!strip.hasPointerCapture(event.pointerId)) return;
    const by_px = event.clientX - at_px;
    at_px = event.clientX;
    turned_px += by_px;
    strip.style.setProperty("--turned", `${turned_px}px`);
    const frames = jog.add(by_px);
    if (frames) step(frames);
  });
  for (const area of [lane, strip])
    area.addEventListener("wheel", (event) => {
      if (event.ctrlKey) return;
      event.preventDefault();
      const frames = wheel.add(wheelPx(event));
      if (frames) step(frames);
    }, { passive: false });
}
