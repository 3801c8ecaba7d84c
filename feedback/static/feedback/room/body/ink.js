// A body's points as SVG: lines with a dark casing, a ring at each point, figures at joints, and the
// centre of mass by a sign of its own, a disc with two dark quarters.

import { LABEL_PX, svg } from "../drawing/ink.js";
import { linesOf } from "./order.js";

const LEVEL = "level-1";
const RING_PX = 4;
const CENTRE_PX = 9;

const path = (places) => `M${places.map(([x, y]) => `${x} ${y}`).join("L")}`;
const inPx = ([x, y], { w, h }) => [x * w, y * h];

function label(at, words, sheet, away_px) {
  const size = LABEL_PX * sheet.units;
  const text = svg("text", { x: at[0] + away_px * sheet.units, y: at[1] - size * 0.6,
    class: "body-label", "font-size": size });
  text.textContent = words;
  return text;
}

function centreSign(at, { units }) {
  const r = CENTRE_PX * units;
  const quarters = `M0 0V${-r}A${r} ${r} 0 0 1 ${r} 0ZM0 0V${r}A${r} ${r} 0 0 1 ${-r} 0Z`;
  return svg("g", { class: "centre-sign", transform: `translate(${at[0]} ${at[1]})` },
    svg("circle", { r }), svg("path", { d: quarters }));
}

// `body`: { points, centre, share, labels } in parts of the picture; `sheet`: { w, h, units }.
export function bodyInk(body, lines, sheet) {
  const limbs = linesOf(lines, body.points).map((ends) => path(ends.map((at) => inPx(at, sheet))));
  const level = LEVEL in body.points
    ? linesOf(lines.filter(([name]) => name === LEVEL), body.points)
      .map((ends) => path(ends.map((at) => inPx(at, sheet)))) : [];
  const group = svg("g", { class: "body-one" });
  for (const layer of ["casing", "ink"])
    for (const d of limbs)
      group.append(svg("path", { d, class: `${layer}${level.includes(d) ? " level" : ""}` }));
  for (const at of Object.values(body.points)) {
    const [cx, cy] = inPx(at, sheet);
    group.append(svg("circle", { cx, cy, r: RING_PX * sheet.units, class: "point" }));
  }
  for (const [x, y, words] of body.labels ?? [])
    group.append(label(inPx([x, y], sheet), words, sheet, 10));
  return group;
}

// The centre of mass with the share of the body's mass that it stands for.
export function centreInk({ centre, share }, sheet) {
  const at = inPx(centre, sheet);
  return svg("g", { class: "body-centre" },
    centreSign(at, sheet), label(at, share, sheet, CENTRE_PX + 4));
}

// The centre's way: pieces of [frame, x, y].
export function wayInk(pieces, sheet) {
  const group = svg("g", { class: "body-way-ink" });
  for (const piece of pieces) {
    const places = piece.map(([, x, y]) => inPx([x, y], sheet));
    for (const layer of ["casing", "ink"]) group.append(svg("path", { d: path(places), class: layer }));
    for (const [cx, cy] of places)
      group.append(svg("circle", { cx, cy, r: 3 * sheet.units, class: "point" }));
  }
  return group;
}
