// Shows in the picture what a reading followed, so that a person can judge it.

import { followedAt } from "./box.js";
import { framed } from "./sheets.js";

export function startFollowed(room, part, sheets, { say }) {
  let shown = null; // { id, view, at_s, way, width, height }

  function paint() {
    for (const sheet of sheets.all()) {
      const here = shown?.view === sheet.view.key ? followedAt(shown, room.now().at_s) : null;
      sheet.followed.replaceChildren(...(here ? [framed(here, sheet, "rate-followed")] : []));
    }
  }
  // The list is renewed by itself, so its buttons are looked at each time.
  function reveal() {
    for (const button of part.querySelectorAll("[data-rate-show]")) {
      button.hidden = false;
      button.ariaPressed = String(button.closest("li").dataset.rateReading === shown?.id);
    }
  }
  part.addEventListener("click", async (event) => {
    const button = event.target.closest("[data-rate-show]");
    if (!button) return;
    const { rateReading: id, followed } = button.closest("li").dataset;
    shown = shown?.id === id ? null : { id, ...JSON.parse(followed) };
    reveal();
    if (shown) {
      await room.jump({ view: shown.view, at_s: shown.at_s });
      say("shown");
    }
    paint();
  });
  part.addEventListener("htmx:load", reveal);
  room.element.addEventListener("room:frame", paint);
  reveal();
}
