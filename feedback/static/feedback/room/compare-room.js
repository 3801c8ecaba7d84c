// Two swims as the parts of the watch room ask for them: the main view is that of the side whose
// frames are stepped, and all times count from the common mark.

import { swimS } from "./clock.js";

export function createCompareRoom(element, sides, addKeys) {
  const views = new Map(sides.views.map((view) => [view.key, view]));
  const trouble = element.querySelector("[data-trouble]");
  let engine;
  let last = { at_s: 0, frames: {} };

  const room = {
    element,
    views: sides.views,
    addKeys,
    view: (key) => views.get(key),
    start(made) { engine = made; },
    shown(at_s, frames) { last = { at_s, frames }; },
    // The instant of the frame on screen, where the main view has one.
    now() {
      const main = sides.main().shown;
      const frame = last.frames[main] ?? null;
      const clock = engine.clock(main);
      return { at_s: frame !== null && clock ? swimS(clock, frame) : last.at_s, main, frame };
    },
    jump: ({ at_s }) => room.safely(() => engine.seek(at_s)),
    trouble() { trouble.hidden = false; },
    async safely(work) {
      try {
        await work();
      } catch {
        room.trouble();
      }
    },
  };
  return room;
}
