// Which point comes next, and which lines stand. Pure.

// The first of a set that is neither set nor passed over; null: that was all of it.
export const nextOf = (order, points, passed) =>
  order.find((name) => !Object.hasOwn(points, name) && !passed.has(name)) ?? null;

// Places between which a line is drawn, in parts of the picture.
export const linesOf = (lines, points) => lines
  .filter((ends) => ends.every((name) => Object.hasOwn(points, name)))
  .map((ends) => ends.map((name) => points[name]));

// What was set or passed over last on a frame; with nothing remembered, the last of the set's
// points that stands.
export function lastOf(done, order, points) {
  const known = done.at(-1);
  if (known) return known;
  const name = order.findLast((one) => Object.hasOwn(points, one)) ?? Object.keys(points).at(-1);
  return name ? { name, passed: false } : null;
}

// The pieces of a way that lead over a frame's time; [] where the frame lies before or after it.
export function piecesAt(way, frame) {
  const frames = way.pieces.flat().map(([at]) => at);
  const within = Math.min(...frames) <= frame && frame <= Math.max(...frames);
  return within ? way.pieces : [];
}
