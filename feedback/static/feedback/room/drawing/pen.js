// A tool in hand: a mouse, a finger or a pen on a picture gives its points.

import { inked } from "./ink.js";
import { fractionAt, simplified } from "./place.js";
import { makeGesture } from "./gesture.js";

const DRAG_PX = 8;

// `tool()` is { kind, straight, colour } or null; `finish(drawing, view)` gets what was drawn.
export function createPen(room, overlay, { tool, finish, hint }) {
  let gesture = null;
  let on = null; // { key, frame } that is drawn on
  let pressed = null; // where on the screen

  const box = (view) => view.overlay.getBoundingClientRect();
  const fraction = (view, event) => {
    const { w, h } = overlay.sheet(view.key);
    return fractionAt(box(view), w, h, [event.clientX, event.clientY]);
  };
  const near = (view, a, b, far_px) => {
    const { w, h } = overlay.sheet(view.key);
    const scale = Math.min(box(view).width / w, box(view).height / h);
    return Math.hypot((a[0] - b[0]) * w, (a[1] - b[1]) * h) * scale < far_px;
  };

  function drop() {
    [gesture, on, pressed] = [null, null, null];
    overlay.clearPending();
  }

  // The frame that is on screen there; a drawing begun elsewhere is dropped.
  function beginOn(view) {
    const frame = room.now().frames?.[view.key];
    if (frame === null || frame === undefined) return false;
    if (on?.key !== view.key || on.frame !== frame) drop();
    on = { key: view.key, frame };
    gesture ??= makeGesture(tool().kind, tool().straight);
    return true;
  }

  function preview(view, point, ...more) {
    const { colour } = tool();
    const points = gesture ? gesture.preview(point) : [];
    const { kind, straight } = tool();
    overlay.pending(view.key, inked({ kind, straight, colour, points }, overlay.sheet(view.key)), ...more);
  }

  function end(view) {
    const { w, h } = overlay.sheet(view.key);
    const { kind, straight } = gesture;
    const points = kind === "trace" && !straight
      ? simplified(gesture.points(), w, h) : gesture.points();
    const drawing = { kind, straight, points, colour: tool().colour, frame: on.frame };
    drop();
    finish(drawing, view);
  }

  function set(view, last) {
    if (last) end(view);
    else hint(gesture);
  }

  for (const view of room.views) {
    const { overlay: area } = view;
    area.addEventListener("pointerdown", (event) => {
      if (!tool() || event.button > 0 || !event.isPrimary || event.target.closest("[data-handle]")) return;
      if (!beginOn(view)) return;
      event.preventDefault();
      area.setPointerCapture(event.pointerId);
      pressed = [event.clientX, event.clientY];
      gesture.press(fraction(view, event));
    });
    area.addEventListener("pointermove", (event) => {
      if (!tool() || !event.isPrimary || !gesture || on.key !== view.key) return;
      const all = event.getCoalescedEvents?.() ?? [];
      if (pressed) for (const one of all.length ? all : [event]) gesture.move(fraction(view, one));
      preview(view, fraction(view, event));
    });
    area.addEventListener("pointerup", (event) => {
      if (!pressed || !gesture || on.key !== view.key) return;
      const point = fraction(view, event);
      const far = Math.hypot(event.clientX - pressed[0], event.clientY - pressed[1]) >= DRAG_PX;
      const last = gesture.points().at(-1);
      const same = Boolean(last) && !far && near(view, last, point, DRAG_PX);
      pressed = null;
      set(view, gesture.release(point, far, same));
    });
    area.addEventListener("pointercancel", () => {
      pressed = null;
      gesture?.cancel();
      if (!gesture?.begun()) drop();
    });
  }

  // Another frame: what was begun does not belong there.
  room.element.addEventListener("room:frame", ({ detail: { frames } }) => {
    if (on && frames[on.key] !== on.frame) drop();
  });

  return {
    drop,
    preview,
    begun: () => Boolean(gesture?.begun()),
    enough: () => Boolean(gesture?.enough()),
    end: () => { if (gesture?.enough()) end(room.view(on.key)); },
    // By the cross-hair.
    add(view, point) {
      if (!beginOn(view)) return;
      const last = gesture.points().at(-1);
      set(view, gesture.add(point, Boolean(last) && near(view, last, point, 2)));
    },
  };
}
