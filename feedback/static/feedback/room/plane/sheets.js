// The planes' own layer over each picture, and a numbered point on it.

import { svg } from "../drawing/ink.js";
import { createLayers } from "../layers.js";

export const createSheets = (room, { onResize }) => createLayers(room, {
  areaOf: (view) => view.picture.querySelector("[data-plane-overlay]"),
  parts: ["lines", "set", "pointed"],
  onResize,
});

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
