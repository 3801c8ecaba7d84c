// A loop between two points, set one after the other. Pure.
//
// { from_s, to_s }, each null until it is set; null: no loop. A point that would turn the loop
// around takes the other's place away.

const SHORTEST_S = 0.08;

export function beginAt(loop, at_s) {
  const to_s = loop?.to_s ?? null;
  return { from_s: at_s, to_s: to_s !== null && to_s - at_s >= SHORTEST_S ? to_s : null };
}

export function endAt(loop, at_s) {
  const from_s = loop?.from_s ?? null;
  return { from_s: from_s !== null && at_s - from_s >= SHORTEST_S ? from_s : null, to_s: at_s };
}

// What the engine runs: only a whole loop.
export const whole = (loop) =>
  (loop && loop.from_s !== null && loop.to_s !== null ? loop : null);
