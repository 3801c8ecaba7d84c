// A box in a picture from two corners, as parts of its width and height; and where a followed box
// was at an instant. Pure.

const SMALLEST = 0.03; // of the picture: as the server says

export function boxBetween([ax, ay], [bx, by]) {
  const [x, y] = [Math.min(ax, bx), Math.min(ay, by)];
  return { x, y, width: Math.abs(ax - bx), height: Math.abs(ay - by) };
}

export const isSmall = ({ width, height }) => Math.min(width, height) < SMALLEST;

// The box followed at `at_s`, or null before it begins and after it ends. `way`: rows of time and
// the box's middle, rising.
export function followedAt({ way, width, height }, at_s) {
  const after = way.findIndex(([s]) => s >= at_s);
  if (after < 0 || at_s < way[0][0] - 0.05) return null;
  const [to, from] = [way[after], way[Math.max(0, after - 1)]];
  const share = to[0] > from[0] ? (at_s - from[0]) / (to[0] - from[0]) : 0;
  const [cx, cy] = [1, 2].map((axis) => from[axis] + share * (to[axis] - from[axis]));
  return { x: cx - width / 2, y: cy - height / 2, width, height };
}
