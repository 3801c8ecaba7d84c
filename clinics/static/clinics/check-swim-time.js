// Frames and seconds of a recording, from knots [frame, seconds] about a second apart. Between
// two knots frames are evenly spaced: good enough to draw by; the frame number is what counts.

function between(knots, value, from, to) {
  let n = knots.findIndex((knot) => knot[from] > value);
  n = Math.min(Math.max(n < 0 ? knots.length - 1 : n, 1), knots.length - 1);
  const [before, after] = [knots[n - 1], knots[n]];
  const share = (value - before[from]) / (after[from] - before[from]);
  return before[to] + share * (after[to] - before[to]);
}

export function secondsAt(knots, frame) {
  return knots.length < 2 ? knots[0][1] : between(knots, frame, 0, 1);
}

export function frameAt(knots, seconds) {
  return knots.length < 2 ? knots[0][0] : Math.round(between(knots, seconds, 1, 0));
}

// Place along the strip in percent; what lies beyond an end stands at that end.
export function percentAt(knots, frame) {
  const [begin, end] = [knots[0][1], knots[knots.length - 1][1]];
  if (end <= begin) return 0;
  const percent = (100 * (secondsAt(knots, frame) - begin)) / (end - begin);
  return Math.min(100, Math.max(0, percent));
}

export function clock(seconds) {
  const thousandths = Math.max(0, Math.round(seconds * 1000));
  const minutes = Math.floor(thousandths / 60000);
  const rest = String(thousandths % 60000).padStart(5, "0");
  return `${minutes}:${rest.slice(0, 2)}.${rest.slice(2)}`;
}
