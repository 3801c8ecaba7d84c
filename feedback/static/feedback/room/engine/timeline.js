// The one clock of all views: a position in the swim, a rate, and the wall instant at which the
// position was true. Pure: it is told what time it is.

export function makeTimeline() {
  let anchor_s = 0;
  let rate = 1;
  let wall_ms = null; // null: it stands

  const at = (now_ms) =>
    wall_ms === null ? anchor_s : anchor_s + ((now_ms - wall_ms) / 1000) * rate;

  return {
    at,
    runs: () => wall_ms !== null,
    rate: () => rate,
    stand(at_s) {
      anchor_s = at_s;
      wall_ms = null;
    },
    run(at_s, now_ms) {
      anchor_s = at_s;
      wall_ms = now_ms;
    },
    // The position stays where it is at that instant; only what follows is slower or quicker.
    setRate(to, now_ms) {
      anchor_s = at(now_ms);
      if (wall_ms !== null) wall_ms = now_ms;
      rate = to;
    },
  };
}

// A loop that makes sense, or null: shorter than two of the slowest frames cannot be played.
export function keptLoop(loop) {
  return loop && loop.to_s - loop.from_s >= 0.08 ? { from_s: loop.from_s, to_s: loop.to_s } : null;
}

// Where an instant is within a loop: past its end it begins again with what is left over.
export function inLoop(at_s, loop) {
  if (!loop || at_s < loop.to_s) return at_s;
  return loop.from_s + ((at_s - loop.to_s) % (loop.to_s - loop.from_s));
}

export const END_S = 1e-4; // so far before its end a film is shown at its last

// Where playing begins anew: from nothing, or from the end of the loop or of all. null: it goes on.
export function beginOf(at_s, loop, reach) {
  const over = loop ? at_s >= loop.to_s : reach && at_s >= reach.to_s - 2 * END_S;
  return at_s === null || over ? loop?.from_s ?? reach?.from_s ?? 0 : null;
}
