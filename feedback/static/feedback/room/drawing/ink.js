// A drawing as SVG: a dark casing under a line in its colour's pattern, so that it stands out of
// bright and dark water and is told from others without its colour.

import { labelOf, labelPlace, outlinesOf, pathOf } from "./geometry.js";

const NS = "http://www.w3.org/2000/svg";
export const LABEL_PX = 16; // on the screen

export function svg(name, attributes = {}, ...children) {
  const element = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  element.append(...children);
  return element;
}

// `units`: px of the picture that a px of the screen covers.
export function inked({ kind, points, straight, colour }, { w, h, units }) {
  const outlines = outlinesOf(kind, points, straight, w, h);
  const lines = ["casing", "ink"].flatMap((layer) => outlines.map(({ places, patterned }) =>
    svg("path", { d: pathOf(places), class: `${layer}${patterned ? " patterned" : ""}` })));
  const group = svg("g", { class: `drawn-one in-${colour}` }, ...lines);
  const label = labelOf(kind, points, w, h);
  if (label) {
    const [x, y] = labelPlace(points, w, h, LABEL_PX * units);
    const text = svg("text", { x, y, class: "drawn-label", "font-size": LABEL_PX * units });
    text.textContent = label;
    group.append(text);
  }
  return group;
}
