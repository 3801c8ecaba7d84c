// A tool's own layer over each picture: its parts, its size, and how large a px of the screen is in
// it. `areaOf` gives the view's SVG.

import { svg } from "./drawing/ink.js";
import { perScreenPx } from "./drawing/place.js";

export function createLayers(room, { areaOf, parts, onResize }) {
  const sheets = new Map(room.views.map((view) => [view.key, sheetOf(view)]));

  function sheetOf(view) {
    const area = areaOf(view);
    const { width: w, height: h } = area.viewBox.baseVal;
    const layers = parts.map((name) => [name, svg("g", { "data-layer": name })]);
    area.append(...layers.map(([, layer]) => layer));
    const sheet = {
      view: { ...view, overlay: area }, area, w, h, units: 1, ...Object.fromEntries(layers),
    };
    new ResizeObserver(() => {
      const box = { width: area.clientWidth, height: area.clientHeight };
      if (!box.width || !box.height) return;
      sheet.units = perScreenPx(box, w, h);
      onResize(sheet);
    }).observe(area);
    return sheet;
  }

  return {
    all: () => [...sheets.values()],
    sheet: (key) => sheets.get(key),
    // The room as tools on this layer see it: their overlay is this one.
    room: {
      ...room,
      views: [...sheets.values()].map(({ view }) => view),
      view: (key) => sheets.get(key)?.view,
      now: () => room.now(),
    },
  };
}
