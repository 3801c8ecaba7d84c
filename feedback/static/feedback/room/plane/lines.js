// The lines at each 5 m and the marks that they come from, on frames where a plane holds.

import { svg } from "../drawing/ink.js";
import { holdingAt, labelAt } from "./holding.js";
import { numbered } from "./sheets.js";

const RIGHT = 0.86; // of the picture's width

export function createLines(sheets, { on }) {
  let planes = [];
  let frames = {};

  function line({ label, ends }, sheet) {
    const { w, h, units } = sheet;
    const d = ends.map(([x, y], n) => `${n ? "L" : "M"}${x * w} ${y * h}`).join("");
    const group = svg("g", { class: "plane-line" },
      svg("path", { d, class: "casing" }), svg("path", { d, class: "ink" }));
    const at = labelAt(ends);
    if (at) {
      const left = at[0] > RIGHT; // beside it on the left, where the picture ends on the right
      const text = svg("text", {
        x: at[0] * w + (left ? -5 : 5) * units, y: at[1] * h, "font-size": 14 * units,
        "text-anchor": left ? "end" : "start",
      });
      text.textContent = label;
      group.append(text);
    }
    return group;
  }

  function paint(sheet) {
    const plane = on() ? holdingAt(planes, sheet.view.key, frames[sheet.view.key]) : null;
    if (sheet.painted === plane && sheet.paintedAt === sheet.units) return;
    [sheet.painted, sheet.paintedAt] = [plane, sheet.units];
    const { lines = [], marks = [] } = plane ?? {};
    sheet.lines.replaceChildren(
      ...lines.map((one) => line(one, sheet)),
      ...marks.map(({ n, x, y }) => numbered([x, y], n, sheet, "plane-mark")),
    );
  }

  const all = () => { for (const sheet of sheets.all()) paint(sheet); };
  return {
    all,
    show(now) { frames = now ?? {}; all(); },
    set(next) { planes = next; all(); },
    at: (view) => holdingAt(planes, view, frames[view]),
  };
}
