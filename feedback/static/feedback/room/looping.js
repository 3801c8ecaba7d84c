// A loop between two points: set at the frame that is on screen, shown on the strip, and said.

import { durationTicks, swimS, TICKS_PER_S } from "./clock.js";
import { beginAt, endAt, whole } from "./loop.js";

export function startLooping(room, engine, seconds) {
  const strip = room.element.querySelector("[data-lane-strip]");
  const said = room.element.querySelector("[data-loop-said]");
  const button = (name) => room.element.querySelector(`[data-do="${name}"]`);
  const { dataset } = room.element;
  let loop = null;

  // The end of the frame on screen, so that this frame is still seen.
  function endOfFrame() {
    const { at_s, main, frame } = room.now();
    const clock = engine.clock(main);
    if (!clock || frame === null) return at_s;
    return swimS(clock, frame) + (durationTicks(clock, frame) / TICKS_PER_S) * clock.rate;
  }
  function words() {
    if (!loop) return "";
    const { from_s, to_s } = loop;
    const how = to_s === null ? dataset.wordsHalfLoop : from_s === null ? dataset.wordsOtherHalfLoop : dataset.wordsLooped;
    return how.replace("{from}", seconds(from_s ?? 0)).replace("{to}", seconds(to_s ?? 0));
  }
  function set(to) {
    loop = to;
    engine.setLoop(whole(loop));
    strip.dispatchEvent(new CustomEvent("lane-strip:loop", { detail: loop }));
    button("loop-clear").disabled = !loop;
    said.textContent = words();
  }

  const does = {
    "loop-begin": () => set(beginAt(loop, room.now().at_s)),
    "loop-end": () => set(endAt(loop, endOfFrame())),
    "loop-clear": () => set(null),
  };
  for (const [name, work] of Object.entries(does)) button(name).addEventListener("click", work);
  room.addKeys({ b: does["loop-begin"], e: does["loop-end"], x: does["loop-clear"] });
  // Words over a span can be looped at their own place.
  room.element.addEventListener("room:loop", async ({ detail: { from_s, to_s } }) => {
    set(endAt(beginAt(null, from_s), to_s));
    await room.jump({ at_s: from_s });
    if (whole(loop)) room.safely(engine.play);
  });
  return { on: () => whole(loop) !== null };
}
