// The layer of the rate reading over each picture: the box that is set, and the one followed.

import { svg } from "../drawing/ink.js";
import { createLayers } from "../layers.js";

export const createSheets = (room, { onResize }) => createLayers(room, {
  areaOf: overlayOf,
  parts: ["followed", "set", "pointed"],
  onResize,
});

function overlayOf(view) {
  const { width, height } = view.overlay.viewBox.baseVal;
  const viewBox = `0 0 ${width} ${height}`;
  const area = svg("svg", { class: "overlay", "data-rate-overlay": "", viewBox });
  view.picture.append(area);
  return area;
}

// A box as a rectangle in a sheet.
export function framed({ x, y, width, height }, { w, h }, name) {
  const place = { x: x * w, y: y * h, width: width * w, height: height * h };
  return svg("g", { class: name },
    svg("rect", { ...place, class: "casing" }), svg("rect", { ...place, class: "ink" }));
}
