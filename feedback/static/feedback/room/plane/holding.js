// Which plane holds on a frame of a view, and where a line's label stands. Pure.

const MARGIN = 0.04; // of the picture: a label stands within it
const UP = 0.4; // of the line: so far above its lower end, between the ends, where marks often are

// The newest whose span has the frame; `planes` come newest first. One whose marks make no plane
// has no lines, and no older one takes its place.
export function holdingAt(planes, view, frame) {
  if (frame === null || frame === undefined) return null;
  const here = ({ spans }) => spans[view] && spans[view][0] <= frame && frame <= spans[view][1];
  return planes.find(here) ?? null;
}

const inside = ([x, y]) => Math.min(x, y) >= MARGIN && Math.max(x, y) <= 1 - MARGIN;

// A point of the line within the picture, near its lower end; null: the line does not touch it.
export function labelAt(ends, steps = 40) {
  const [upper, lower] = [...ends].sort((a, b) => a[1] - b[1]);
  const at = (t) => lower.map((value, axis) => value + t * (upper[axis] - value));
  for (let n = 0; n <= steps; n += 1) {
    const first = at(n / steps);
    const higher = at(Math.min(1, n / steps + UP));
    if (inside(first)) return inside(higher) ? higher : first;
  }
  return null;
}

// What somebody typed as a number of metres or centimetres; null: it is none.
export function numberOf(text) {
  const told = text.trim().replace(",", ".").replace("\u2212", "-");
  return told !== "" && Number.isFinite(Number(told)) ? Number(told) : null;
}
