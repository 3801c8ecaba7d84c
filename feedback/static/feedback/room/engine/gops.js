// Groups of pictures: from one key frame up to the next. Only whole groups can be decoded.
// Pure: numbers in, numbers out.

import { lastAtMost } from "../clock.js";

export const AHEAD = 3;
export const BEHIND = 1;
const LOOP_START = 2;

export function makeGops(keyFrames, frameCount) {
  if (keyFrames[0] !== 0) throw new RangeError("the first frame is not a key frame");
  return {
    count: keyFrames.length,
    of: (frame) => lastAtMost(keyFrames, frame),
    first: (gop) => keyFrames[gop],
    end: (gop) => keyFrames[gop + 1] ?? frameCount,
  };
}

// The groups to hold decoded around a frame, most urgent first: its own, the next one, the one
// before, what comes after, and the first ones of the loop that will be jumped to. Who steps
// backwards (`way` -1) comes to those before.
export function wantedGops(gops, frame, loopFrame = null, way = 1) {
  const own = gops.of(frame);
  const wanted = [own, own + way];
  for (let back = 1; back <= BEHIND; back += 1) wanted.push(own - way * back);
  for (let on = 2; on <= AHEAD; on += 1) wanted.push(own + way * on);
  if (loopFrame !== null)
    for (let on = 0; on < LOOP_START; on += 1) wanted.push(gops.of(loopFrame) + on);
  return [...new Set(wanted)].filter((gop) => gop >= 0 && gop < gops.count);
}
