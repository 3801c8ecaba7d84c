// A tool of the planes in hand: a tap on a picture, or the cross-hair's Enter, points at a place.

import { startCrossHair } from "../drawing/cross-hair.js";
import { fractionAt } from "../drawing/place.js";

const TAP_PX = 10;

// `tool`: its name in the room; `point(view, [x, y], how)`, how: "mouse", "touch", "pen", "keys".
export function startHand(room, sheets, button, { tool, point, onTake }) {
  const inHand = () => room.element.dataset.tool === tool;
  const keys = document.querySelector("[data-keys-on]");

  function take(on) {
    if (on === inHand()) return;
    room.setTool(on ? tool : null);
    if (on) {
      room.pause();
      room.view(room.now().main)?.figure.scrollIntoView({ block: "nearest" });
    }
  }
  const clear = () => { for (const { pointed } of sheets.all()) pointed.replaceChildren(); };

  button.addEventListener("click", () => take(!inHand()));
  room.element.addEventListener("room:tool", () => {
    const on = inHand();
    if ((button.ariaPressed === "true") === on) return;
    button.ariaPressed = String(on);
    cross.hide();
    clear();
    onTake(on);
  });

  for (const { view, area, w, h } of sheets.all()) {
    let from = null;
    area.addEventListener("pointerdown", (event) => {
      if (!inHand() || event.button > 0 || !event.isPrimary) return;
      event.preventDefault();
      area.setPointerCapture(event.pointerId);
      from = [event.clientX, event.clientY];
    });
    area.addEventListener("pointercancel", () => { from = null; });
    area.addEventListener("pointerup", (event) => {
      if (!from) return;
      const moved = Math.hypot(event.clientX - from[0], event.clientY - from[1]);
      from = null;
      if (moved >= TAP_PX) return;
      const box = area.getBoundingClientRect();
      cross.hide();
      clear();
      point(view, fractionAt(box, w, h, [event.clientX, event.clientY]), event.pointerType);
    });
  }

  const pen = {
    preview(view, _at, ...more) {
      clear();
      sheets.sheet(view.key).pointed.replaceChildren(...more);
    },
    add: (view, at) => point(view, [...at], "keys"),
  };
  const cross = startCrossHair(sheets.room, sheets, pen, {
    tool: () => (inHand() ? {} : null),
    escape: () => take(false),
    keysOn: () => keys?.checked ?? true,
  });
  return { take, inHand };
}
