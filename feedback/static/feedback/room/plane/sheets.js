// The planes' own layer over each picture: its size, and how large a px of the screen is in it.

import { svg } from "../drawing/ink.js";
import { perScreenPx } from "../drawing/place.js";

export function createSheets(room, { onResize }) {
  const sheets = new Map(room.views.map((view) => [view.key, sheetOf(view)]));

  function sheetOf(view) {
    const area = view.picture.querySelector("[data-plane-overlay]");
    const { width: w, height: h } = area.viewBox.baseVal;
    const layers = ["lines", "set", "pointed"].map((name) => svg("g", { "data-layer": name }));
    area.append(...layers);
    const [lines, set, pointed] = layers;
    const sheet = { view: { ...view, overlay: area }, area, w, h, units: 1, lines, set, pointed };
    new ResizeObserver(() => {
      const box = { width: area.clientWidth, height: area.clientHeight };
      if (!box.width || !box.height) return;
      sheet.units = perScreenPx(box, w, h);
      onResize();
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

// A numbered point.
export function numbered([x, y], n, { w, h, units }, name) {
  const [px, py, arm] = [x * w, y * h, 6 * units];
  const d = `M${px - arm} ${py}H${px + arm}M${px} ${py - arm}V${py + arm}`;
  const left = x > 0.94; // the picture ends on the right
  const text = svg("text", {
    x: px + (left ? -9 : 9) * units, y: py - (y < 0.08 ? -9 : 7) * units, "font-size": 13 * units,
    "text-anchor": left ? "end" : "start",
  });
  text.textContent = n;
  return svg("g", { class: name },
    svg("path", { d, class: "casing" }), svg("path", { d, class: "ink" }), text);
}
