// The layer of the rate reading over each picture: the box that is set, and the one followed.

import { svg } from "../drawing/ink.js";
import { perScreenPx } from "../drawing/place.js";

export function createSheets(room, { onResize }) {
  const sheets = new Map(room.views.map((view) => [view.key, sheetOf(view)]));

  function sheetOf(view) {
    const { width: w, height: h } = view.overlay.viewBox.baseVal;
    const area = svg("svg", { class: "overlay", "data-rate-overlay": "", viewBox: `0 0 ${w} ${h}` });
    view.picture.append(area);
    const layers = ["followed", "set", "pointed"].map((name) => svg("g", { "data-layer": name }));
    area.append(...layers);
    const [followed, set, pointed] = layers;
    const sheet = { view: { ...view, overlay: area }, area, w, h, units: 1, followed, set, pointed };
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
    room: {
      ...room,
      views: [...sheets.values()].map(({ view }) => view),
      view: (key) => sheets.get(key)?.view,
      now: () => room.now(),
    },
  };
}

// A box as a rectangle in a sheet.
export function framed({ x, y, width, height }, { w, h }, name) {
  const place = { x: x * w, y: y * h, width: width * w, height: height * h };
  return svg("g", { class: name },
    svg("rect", { ...place, class: "casing" }), svg("rect", { ...place, class: "ink" }));
}
