// Swim time and a clip's frames. Pure: numbers in, numbers out, no page.
//
// A clip's frames have PTS `ticks` (1/90000 s from its first frame, ascending). The first
// frame stands `first_ticks` after the beginning of its recording, whose clock fit says
// swim_s = zero_s + media_s × rate, with media_s = 0 at the recording's first frame.

export const TICKS_PER_S = 90000;

export function makeClock({ zero_s, rate, first_ticks, ticks }) {
  if (!ticks.length) throw new RangeError("a clip without frames has no clock");
  return { zero_s, rate, first_ticks, ticks };
}

// The last index whose value is at most x; -1: none.
export function lastAtMost(values, x) {
  let low = 0;
  let high = values.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (values[middle] <= x) low = middle + 1;
    else high = middle;
  }
  return low - 1;
}

const kept = (clock, frame) => Math.min(clock.ticks.length - 1, Math.max(0, frame));

// Swim time at which a frame begins to be shown.
export function swimS(clock, frame) {
  const ticks = clock.first_ticks + clock.ticks[kept(clock, frame)];
  return clock.zero_s + (ticks / TICKS_PER_S) * clock.rate;
}

// The frame that contains a swim time; the first or last one beyond the clip's ends.
export function frameAt(clock, swim_s) {
  const ticks = ((swim_s - clock.zero_s) / clock.rate) * TICKS_PER_S - clock.first_ticks;
  return kept(clock, lastAtMost(clock.ticks, ticks + 1e-3));
}

// The frame that contains a swim time; null where the clip does not reach it.
export function frameOf(clock, swim_s) {
  return swim_s < beginS(clock) - 1e-7 || swim_s >= endS(clock) ? null : frameAt(clock, swim_s);
}

// How long a frame is shown, in ticks; the last one as long as the one before it.
export function durationTicks(clock, frame) {
  const { ticks } = clock;
  if (frame + 1 < ticks.length) return ticks[frame + 1] - ticks[frame];
  return ticks.length > 1 ? ticks[frame] - ticks[frame - 1] : TICKS_PER_S / 25;
}

// Where to seek in the file to be shown this frame: its middle. Seeking to the exact PTS
// shows the frame before it in a third of cases.
export function middleMediaS(clock, frame) {
  return (clock.ticks[frame] + durationTicks(clock, frame) / 2) / TICKS_PER_S;
}

// Swim time of a frame's middle: where the common clock stands when that frame is asked for.
export function middleS(clock, frame) {
  const at = kept(clock, frame);
  return swimS(clock, at) + (durationTicks(clock, at) / 2 / TICKS_PER_S) * clock.rate;
}

// Swim time at a media time of the clip (seconds from its first frame), and back.
export function swimAtMediaS(clock, media_s) {
  return clock.zero_s + (clock.first_ticks / TICKS_PER_S + media_s) * clock.rate;
}

export function mediaAtSwimS(clock, swim_s) {
  return (swim_s - clock.zero_s) / clock.rate - clock.first_ticks / TICKS_PER_S;
}

// Which frame a player shows that says it shows this media time (the frame's own PTS).
export function shownFrame(clock, media_s) {
  return kept(clock, lastAtMost(clock.ticks, media_s * TICKS_PER_S + 1));
}

export function beginS(clock) {
  return swimS(clock, 0);
}

export function endS(clock) {
  const last = clock.ticks.length - 1;
  return swimS(clock, last) + (durationTicks(clock, last) / TICKS_PER_S) * clock.rate;
}
