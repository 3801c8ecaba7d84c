// Drawings over the pictures: exactly those of the frames that are on screen. The page is only
// touched when that set changes.

import { makeIndex } from "./by-frame.js";
import { inked, svg } from "./ink.js";
import { perScreenPx } from "./place.js";

export function createOverlay(room) {
  const sheets = new Map(room.views.map((view) => [view.key, sheetOf(view)]));
  let index = makeIndex([]);
  let frames = {};

  function sheetOf(view) {
    const { width: w, height: h } = view.overlay.viewBox.baseVal;
    const drawn = svg("g", { "data-drawn": "" });
    const pending = svg("g", { "data-pending": "", class: "pending" });
    view.overlay.append(drawn, pending);
    const sheet = { view, w, h, units: 1, drawn, pending, shown: [], made: new Map() };
    new ResizeObserver(() => {
      const box = { width: view.overlay.clientWidth, height: view.overlay.clientHeight };
      if (!box.width || !box.height) return;
      sheet.units = perScreenPx(box, w, h);
      sheet.made.clear(); // labels keep their size on the screen
      put(sheet, sheet.shown);
    }).observe(view.overlay);
    return sheet;
  }

  function elementOf(sheet, drawing) {
    const known = sheet.made.get(drawing.key);
    if (known?.of === drawing) return known.element;
    const element = inked(drawing, sheet);
    element.dataset.drawing = drawing.key;
    element.classList.toggle("unsaved", Boolean(drawing.trouble));
    sheet.made.set(drawing.key, { of: drawing, element });
    return element;
  }

  function put(sheet, drawings) {
    sheet.shown = drawings;
    sheet.drawn.replaceChildren(...drawings.map((one) => elementOf(sheet, one)));
  }

  function show(now) {
    frames = now ?? {};
    for (const [key, sheet] of sheets) {
      const here = index.at(key, frames[key]);
      const same = here.length === sheet.shown.length && here.every((one, n) => one === sheet.shown[n]);
      if (!same) put(sheet, here);
    }
  }

  return {
    show,
    // All drawings anew; a drawing that changed is another object.
    setAll(drawings) {
      index = makeIndex(drawings);
      show(frames);
    },
    shown: (key) => sheets.get(key).shown,
    sheet: (key) => sheets.get(key),
    pending: (key, ...elements) => sheets.get(key).pending.replaceChildren(...elements),
    clearPending() {
      for (const { pending } of sheets.values()) if (pending.firstChild) pending.replaceChildren();
    },
  };
}
