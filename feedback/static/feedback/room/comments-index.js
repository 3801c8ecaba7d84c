// What was said, in order of time: which of it holds at an instant, which comes next. Pure.
//
// An item is { from_s, to_s, … }; `makeIndex(items)` is asked while pictures play, so that a
// question costs as many steps as there are answers, and not one for each comment.

const NEAR_S = 0.25; // an instant is of now as long as it is this near

// From when to when words at an instant, or over a span, are the words of now.
export const reach = (at_s, until_s = null) =>
  (until_s === null ? { from_s: at_s - NEAR_S, to_s: at_s + NEAR_S } : { from_s: at_s, to_s: until_s });

export function makeIndex(items) {
  const sorted = [...items].sort((one, other) => one.from_s - other.from_s);
  const latest = []; // the latest end of this one and all before it
  for (const { to_s } of sorted) latest.push(Math.max(to_s, latest.at(-1) ?? -Infinity));

  // How many begin at or before this instant.
  const begun = (at_s) => {
    let [low, high] = [0, sorted.length];
    while (low < high) {
      const middle = (low + high) >> 1;
      if (sorted[middle].from_s <= at_s) low = middle + 1;
      else high = middle;
    }
    return low;
  };

  return {
    at(at_s) {
      const found = [];
      for (let n = begun(at_s) - 1; n >= 0 && latest[n] >= at_s; n -= 1)
        if (sorted[n].to_s >= at_s) found.push(sorted[n]);
      return found.reverse();
    },
  };
}

// The next one from an instant in order of `at_s`: direction 1 after it, -1 before it.
export function neighbour(items, at_s, direction) {
  const after = items.filter((item) => direction * (item.at_s - at_s) > 0.001);
  const nearest = (one, other) => direction * (one.at_s - other.at_s);
  return after.sort(nearest)[0] ?? null;
}
