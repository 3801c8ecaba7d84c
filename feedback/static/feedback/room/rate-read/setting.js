// Setting the box around the swimmer: a drag, two taps, or the cross-hair and Enter twice.

import { startCrossHair } from "../drawing/cross-hair.js";
import { fractionAt } from "../drawing/place.js";
import { boxBetween, isSmall } from "./box.js";
import { framed } from "./sheets.js";

const TAP_PX = 10;
const TOOL = "rate-box";

// `done(view, box)` with the box that was set; `say(name)` a hint by its name.
export function startSetting(room, sheets, button, { done, say }) {
  const inHand = () => room.element.dataset.tool === TOOL;
  const keys = document.querySelector("[data-keys-on]");
  let first = null; // { view, frame, at }: the corner that is set

  function take(on) {
    if (on === inHand()) return;
    room.setTool(on ? TOOL : null);
    if (!on) return;
    room.pause();
    room.view(room.now().main)?.figure.scrollIntoView({ block: "nearest" });
  }
  const frameOf = (key) => room.now().frames?.[key];
  const clear = () => { for (const { pointed } of sheets.all()) pointed.replaceChildren(); };
  function preview(view, at) {
    clear();
    if (first?.view !== view.key) return;
    const sheet = sheets.sheet(view.key);
    sheet.pointed.append(framed(boxBetween(first.at, at), sheet, "rate-set"));
  }
  function corner(view, at) {
    if (first?.view !== view.key) {
      first = { view: view.key, frame: frameOf(view.key), at };
      say("first");
      return;
    }
    finish(view, boxBetween(first.at, at));
  }
  function finish(view, box) {
    first = null;
    clear();
    if (isSmall(box)) return say("small");
    take(false);
    done(view, box);
  }

  button.addEventListener("click", () => take(!inHand()));
  room.element.addEventListener("room:tool", () => {
    const on = inHand();
    if ((button.ariaPressed === "true") === on) return;
    button.ariaPressed = String(on);
    first = null;
    cross.hide();
    clear();
    if (on) say("setHint");
  });

  // Another frame: the corner that was set does not belong there.
  room.element.addEventListener("room:frame", ({ detail: { frames } }) => {
    if (!first || frames[first.view] === first.frame) return;
    first = null;
    clear();
    if (inHand()) say("setHint");
  });

  for (const { view, area, w, h } of sheets.all()) {
    const place = ({ clientX, clientY }) =>
      fractionAt(area.getBoundingClientRect(), w, h, [clientX, clientY]);
    let from = null;
    area.addEventListener("pointerdown", (event) => {
      if (!inHand() || event.button > 0 || !event.isPrimary) return;
      event.preventDefault();
      area.setPointerCapture(event.pointerId);
      from = { px: [event.clientX, event.clientY], at: place(event), frame: frameOf(view.key) };
      if (first?.view !== view.key) first = null;
    });
    area.addEventListener("pointermove", (event) => {
      if (!inHand() || (!from && !first)) return;
      const begin = first ?? { view: view.key, at: from.at };
      const kept = first;
      first = begin;
      preview(view, place(event));
      first = kept;
    });
    area.addEventListener("pointercancel", () => { from = null; clear(); });
    area.addEventListener("pointerup", (event) => {
      if (!from) return;
      const moved = Math.hypot(event.clientX - from.px[0], event.clientY - from.px[1]);
      const { at: begun, frame } = from;
      from = null;
      cross.hide();
      if (frame !== frameOf(view.key)) return void clear(); // another picture came under the hand
      if (moved < TAP_PX || first) corner(view, place(event));
      else finish(view, boxBetween(begun, place(event)));
    });
  }

  const pen = {
    preview(view, at, ...more) {
      preview(view, at);
      sheets.sheet(view.key).pointed.append(...more);
    },
    add: (view, at) => corner(view, [...at]),
  };
  const cross = startCrossHair(sheets.room, sheets, pen, {
    tool: () => (inHand() ? {} : null),
    escape: () => take(false),
    keysOn: () => keys?.checked ?? true,
  });
}
