// Frames of a view that a span of the swim means. Pure, but for fetching the list of frames.

import { frameAt, makeClock, swimS } from "../clock.js";

// `loop`: { from_s, to_s }, which ends with the end of a frame: where the next one begins.
export function framesOf(clock, { from_s, to_s }) {
  const last = clock.ticks.length - 1;
  const from = Math.min(last, Math.max(0, frameAt(clock, from_s)));
  let to = Math.min(last, Math.max(0, frameAt(clock, to_s)));
  if (to > from && swimS(clock, to) >= to_s - 1e-4) to -= 1;
  return { from, to };
}

export function clocksOf(room) {
  const clocks = new Map(); // promises, by view
  async function fetchClock(view) {
    const answer = await fetch(view.renditions.at(-1).frames, { credentials: "same-origin" });
    if (!answer.ok) throw new Error(`${answer.status}`);
    const { pts } = await answer.json();
    return makeClock({ ...view, ticks: pts });
  }
  return (key) => {
    if (!clocks.has(key)) {
      const loading = fetchClock(room.view(key));
      loading.catch(() => clocks.delete(key));
      clocks.set(key, loading);
    }
    return clocks.get(key);
  };
}
