// What stands at each view: its time within the swim, and whether there is anything to see.

import { swimS } from "./clock.js";
import { awayS } from "./follow.js";
import { secondsFormat } from "./seconds.js";

export function startViewWords(room, engine, gate) {
  const { dataset } = room.element;
  const [fine, coarse] = [secondsFormat(2), secondsFormat(1)];
  const parts = new Map(room.views.map((view) => [view.key, {
    view,
    time: view.figure.querySelector("[data-time]"),
    note: view.figure.querySelector("[data-note]"),
  }]));

  const set = (element, text) => {
    if (element.textContent !== text) element.textContent = text;
  };

  function note({ view }, frame, at_s) {
    if (!gate.allows(view.key)) return "";
    if (frame === null) {
      const covers = dataset.wordsCovers
        .replace("{from}", coarse.format(view.from_s)).replace("{to}", coarse.format(view.to_s));
      return `${dataset.wordsAbsent} (${covers})`;
    }
    return awayS(view, at_s) > 0 ? dataset.wordsEmpty : "";
  }

  function show({ at_s, frames }) {
    for (const key of room.shown()) {
      const part = parts.get(key);
      const frame = frames[key];
      const clock = engine.clock(key);
      if (frame === undefined && gate.allows(key)) continue; // its film is still on its way
      const seen = frame !== null && frame !== undefined && clock;
      set(part.time, seen ? `${fine.format(swimS(clock, frame))} s` : "");
      const words = note(part, frame ?? null, at_s);
      set(part.note, words);
      part.note.hidden = !words;
      part.view.figure.classList.toggle("absent-now", frame === null);
    }
  }

  room.element.addEventListener("room:frame", (event) => show(event.detail));
  room.element.addEventListener("room:stage", () => show(room.now()));
  return { seconds: (at_s) => fine.format(at_s) };
}
