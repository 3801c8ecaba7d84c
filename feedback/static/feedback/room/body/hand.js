// A finger, a pen or a mouse on the main picture: what is pressed can slide until it is let go,
// and where it is let go a point is set. On another picture it brings that one to the front.

import { svg } from "../drawing/ink.js";
import { fractionAt } from "../drawing/place.js";

const ARM_PX = 18;

export function startHand(room, sheets, { active, set }) {
  for (const view of room.views) {
    const sheet = sheets.sheet(view.key);
    let pressed = false;
    const place = (event) => fractionAt(
      sheet.area.getBoundingClientRect(), sheet.w, sheet.h, [event.clientX, event.clientY]);

    function preview([x, y]) {
      const [px, py, arm] = [x * sheet.w, y * sheet.h, ARM_PX * sheet.units];
      const d = `M${px - arm} ${py}H${px + arm}M${px} ${py - arm}V${py + arm}`;
      sheets.pending(view.key, svg("g", { class: "cross-hair" },
        svg("path", { d, class: "casing" }), svg("path", { d, class: "ink" })));
    }

    sheet.area.addEventListener("pointerdown", (event) => {
      if (!active() || event.button > 0 || !event.isPrimary) return;
      event.preventDefault();
      if (room.now().main !== view.key) return void room.safely(() => room.show(view.key));
      sheet.area.setPointerCapture(event.pointerId);
      pressed = true;
      preview(place(event));
    });
    sheet.area.addEventListener("pointermove", (event) => {
      if (pressed && event.isPrimary) preview(place(event));
    });
    sheet.area.addEventListener("pointerup", (event) => {
      if (!pressed || !event.isPrimary) return;
      pressed = false;
      sheets.pending(view.key);
      if (active()) set(view, place(event));
    });
    sheet.area.addEventListener("pointercancel", () => {
      pressed = false;
      sheets.pending(view.key);
    });
  }
}
