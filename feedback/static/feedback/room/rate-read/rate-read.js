// Rate from the picture: fills the form with the view on stage, the loop and the box that was set.
// The server is told views and frames, never times.

import { secondsFormat } from "../seconds.js";
import { startFollowed } from "./followed.js";
import { startSetting } from "./setting.js";
import { createSheets, framed } from "./sheets.js";
import { clocksOf, framesOf } from "./span.js";

const BOX = ["x", "y", "width", "height"];

export function startRateRead(room) {
  const part = document.querySelector("[data-rate-read]");
  const form = part?.querySelector("[data-rate-form]");
  if (!form) return;
  const find = (name) => part.querySelector(name);
  const fields = form.elements;
  const [span, go] = ["[data-rate-span]", "[data-rate-go]"].map(find);
  const seconds = secondsFormat();
  const clockOf = clocksOf(room);
  const strip = room.element.querySelector("[data-lane-strip]");
  let loop = null;
  let box = null; // { view, frame, at_s, x, y, width, height }
  let filled = 0;

  const say = (name, words = part.dataset[name]) => { find("[data-rate-said]").textContent = words; };
  const sheets = createSheets(room, { onResize: paint });

  function paint() {
    for (const sheet of sheets.all()) {
      const here = box?.view === sheet.view.key && room.now().frames?.[box.view] === box.frame;
      sheet.set.replaceChildren(...(here ? [framed(box, sheet, "rate-set")] : []));
    }
  }
  function tellBox() {
    const here = box?.view === fields.clip.value ? box : null;
    for (const side of BOX) fields[`box_${side}`].value = here ? here[side].toFixed(4) : "";
    fields.box_frame.value = here ? here.frame : "";
    find("[data-rate-no-box]").hidden = !box;
    paint();
  }
  async function fill() {
    const mine = (filled += 1);
    const looped = span.value === "loop" ? loop : null;
    go.disabled = Boolean(looped); // the frames of another view are not sent for those of this one
    const frames = looped ? framesOf(await clockOf(fields.clip.value), looped) : null;
    if (mine !== filled) return; // filled anew by what changed it
    go.disabled = false;
    fields.from_frame.value = frames?.from ?? "";
    fields.to_frame.value = frames?.to ?? "";
    tellBox();
  }
  const fillSafely = () => fill().catch(room.trouble);

  strip?.addEventListener("lane-strip:loop", ({ detail }) => {
    const { from_s = null, to_s = null } = detail ?? {};
    loop = from_s !== null && to_s !== null ? { from_s, to_s } : null;
    const option = span.querySelector('[value="loop"]');
    option.disabled = !loop;
    span.value = loop ? "loop" : "view";
    fillSafely();
  });
  room.element.addEventListener("room:stage", ({ detail }) => {
    if (detail.main && detail.main !== fields.clip.value && !box) {
      fields.clip.value = detail.main;
      fillSafely();
    }
  });
  room.element.addEventListener("room:frame", paint);
  for (const field of [fields.clip, span]) field.addEventListener("change", fillSafely);
  find("[data-rate-no-box]").addEventListener("click", () => {
    box = null;
    say("", "");
    tellBox();
    find("[data-rate-box]").focus();
  });

  startSetting(room, sheets, find("[data-rate-box]"), {
    say,
    done(view, set) {
      const frame = room.now().frames?.[view.key];
      if (frame === null || frame === undefined) return;
      box = { ...set, view: view.key, frame };
      fields.clip.value = view.key;
      say("boxed", part.dataset.boxed.replace("{view}", view.name)
        .replace("{at}", seconds.format(room.now().at_s)));
      fillSafely();
    },
  });
  startFollowed(room, part, sheets, { say });
  for (const name of ["[data-rate-span-of]", "[data-rate-box-row]"]) find(name).hidden = false;
}
