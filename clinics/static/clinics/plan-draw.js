// A station redrawn where it is being moved to: mark, cone, and what turns it. The server draws
// everything anew once the move is kept.

import { coneOf, sightOf } from "./plan-sight.js";

const HANDLE_OFF = 2.2; // as clinics/views/stations_drawn.py

const number = (text) => (text === "" ? null : Number(text));

export const shownSvg = (plan) =>
  [...plan.querySelectorAll("[data-plan-svg]")].find((svg) => svg.getClientRects().length);

export function readStands(svg) {
  const marks = [...svg.querySelectorAll("[data-station]")];
  return new Map(
    marks.map(({ dataset: d }) => [
      d.station,
      {
        key: d.station,
        name: d.name,
        kind: d.kind,
        port: d.port,
        angle: Number(d.angle),
        x: Number(d.x),
        y: Number(d.y),
        z: Number(d.z),
        bearing: number(d.bearing),
      },
    ]),
  );
}

function place(parts, names, values) {
  for (const part of parts) names.forEach((name, n) => part.setAttribute(name, values[n]));
}

export function redraw(svg, stand, pool) {
  const left = Number(svg.dataset.left);
  const of = (attribute) => svg.querySelector(`[data-${attribute}="${stand.key}"]`);
  const [x, y] = [stand.x + left, stand.y + left];
  const group = of("station");
  const mark = group.querySelector(".mark");
  const [dx, dy] = [x - mark.getAttribute("cx"), y - mark.getAttribute("cy")];
  group.setAttribute("transform", `translate(${dx.toFixed(3)} ${dy.toFixed(3)})`);
  const corners = coneOf(stand, pool).map(([cx, cy]) => `${cx + left},${cy + left}`);
  of("cone").setAttribute("points", corners.join(" "));
  const axis = (sightOf(stand, pool).bearing * Math.PI) / 180;
  const off = HANDLE_OFF * Number(svg.dataset.touch);
  const [knobX, knobY] = [x + off * Math.cos(axis), y + off * Math.sin(axis)];
  const handle = of("handle");
  place(handle.querySelectorAll("line"), ["x1", "y1", "x2", "y2"], [x, y, knobX, knobY]);
  place(handle.querySelectorAll("circle"), ["cx", "cy"], [knobX, knobY]);
}

export function choose(plan, key) {
  for (const part of plan.querySelectorAll("[data-station], [data-handle]")) {
    part.classList.toggle("chosen", [part.dataset.station, part.dataset.handle].includes(key));
  }
}

// A place on the screen, in metres on the plan; and how many metres a px is.
export function metresAt(svg, event) {
  const toDrawing = svg.getScreenCTM().inverse();
  const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(toDrawing);
  const left = Number(svg.dataset.left);
  return { x: at.x - left, y: at.y - left, perPx: toDrawing.a };
}
