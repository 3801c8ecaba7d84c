// Points of the body over the pictures: those of the frames that are on screen, and the way of
// the centre while a frame of it is.

import { svg } from "../drawing/ink.js";
import { perScreenPx } from "../drawing/place.js";
import { bodyInk, centreInk, wayInk } from "./ink.js";
import { piecesAt } from "./order.js";

export function createSheets(room, lines) {
  const sheets = new Map(room.views.map((view) => [view.key, sheetOf(view)]));
  let [bodies, ways, frames] = [[], [], {}];

  function sheetOf(view) {
    const area = view.figure.querySelector("[data-body-overlay]");
    const { width: w, height: h } = area.viewBox.baseVal;
    const [drawn, pending] = [svg("g"), svg("g", { class: "pending" })];
    area.append(drawn, pending);
    const sheet = { view, area, w, h, units: 1, drawn, pending, painted: "" };
    new ResizeObserver(() => {
      if (!area.clientWidth || !area.clientHeight) return;
      sheet.units = perScreenPx({ width: area.clientWidth, height: area.clientHeight }, w, h);
      sheet.painted = "";
      paint(sheet);
    }).observe(area);
    return sheet;
  }

  const here = (key) => bodies.filter((one) => one.view === key && one.frame === frames[key]);

  // The page is only touched when what stands there is another.
  function paint(sheet) {
    const { key } = sheet.view;
    const frame = frames[key];
    const known = frame !== null && frame !== undefined;
    const its = known ? here(key) : [];
    const pieces = known ? ways.filter((way) => way.view === key)
      .flatMap((way) => piecesAt(way, frame)) : [];
    const now = JSON.stringify([its, pieces]);
    if (now === sheet.painted) return;
    sheet.painted = now;
    sheet.drawn.replaceChildren(
      ...its.map((one) => bodyInk(one, lines, sheet)),
      ...(pieces.length ? [wayInk(pieces, sheet)] : []),
      ...its.filter((one) => one.centre).map((one) => centreInk(one, sheet)),
    );
  }
  const paintAll = () => { for (const sheet of sheets.values()) paint(sheet); };

  return {
    sheet: (key) => sheets.get(key),
    here,
    setAll(nextBodies, nextWays) {
      [bodies, ways] = [nextBodies, nextWays];
      paintAll();
    },
    show(now) {
      frames = now ?? {};
      paintAll();
    },
    pending: (key, ...elements) => sheets.get(key).pending.replaceChildren(...elements),
    // How many pixels of the picture one of the screen covers, enlarged as it is.
    finest(key) {
      const { area, w, h } = sheets.get(key);
      return perScreenPx(area.getBoundingClientRect(), w, h);
    },
  };
}
