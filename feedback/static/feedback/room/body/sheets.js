// Points of the body over the pictures: those of the frames that are on screen, and the way of
// the centre while a frame of it is.

import { perScreenPx } from "../drawing/place.js";
import { createLayers } from "../layers.js";
import { bodyInk, centreInk, wayInk } from "./ink.js";
import { piecesAt } from "./order.js";

export function createSheets(room, lines) {
  const layers = createLayers(room, {
    areaOf: (view) => view.figure.querySelector("[data-body-overlay]"),
    parts: ["drawn", "pending"],
    onResize(sheet) {
      sheet.painted = "";
      paint(sheet);
    },
  });
  let [bodies, ways, frames] = [[], [], {}];
  for (const { pending } of layers.all()) pending.classList.add("pending");

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
  const paintAll = () => { for (const sheet of layers.all()) paint(sheet); };

  return {
    sheet: layers.sheet,
    here,
    setAll(nextBodies, nextWays) {
      [bodies, ways] = [nextBodies, nextWays];
      paintAll();
    },
    show(now) {
      frames = now ?? {};
      paintAll();
    },
    pending: (key, ...elements) => layers.sheet(key).pending.replaceChildren(...elements),
    // How many pixels of the picture one of the screen covers, enlarged as it is.
    finest(key) {
      const { area, w, h } = layers.sheet(key);
      return perScreenPx(area.getBoundingClientRect(), w, h);
    },
  };
}
