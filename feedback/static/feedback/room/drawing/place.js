// Where a hand is on a picture, and a hand's line with fewer points. Pure.

const FINEST = 0.002; // of the picture's height: a line is kept to this

const within = (value) => Math.min(1, Math.max(0, value));

// A place on the screen as fractions of the picture, which stands whole and in the middle of its
// box { left, top, width, height }; what lies beside it counts as its edge.
export function fractionAt(box, w, h, [x, y]) {
  const scale = Math.min(box.width / w, box.height / h);
  const left = box.left + (box.width - w * scale) / 2;
  const top = box.top + (box.height - h * scale) / 2;
  return [within((x - left) / (w * scale)), within((y - top) / (h * scale))];
}

// How many px of the picture a px of the screen covers.
export const perScreenPx = (box, w, h) => 1 / Math.max(1e-6, Math.min(box.width / w, box.height / h));

function away([x, y], [ax, ay], [bx, by]) {
  const [dx, dy] = [bx - ax, by - ay];
  const length = dx * dx + dy * dy;
  const t = length ? Math.min(1, Math.max(0, ((x - ax) * dx + (y - ay) * dy) / length)) : 0;
  return Math.hypot(x - ax - t * dx, y - ay - t * dy);
}

function kept(places, from, to, finest, keep) {
  let [furthest, most] = [0, finest];
  for (let n = from + 1; n < to; n += 1) {
    const off = away(places[n], places[from], places[to]);
    if (off > most) [furthest, most] = [n, off];
  }
  if (!furthest) return;
  keep.add(furthest);
  kept(places, from, furthest, finest, keep);
  kept(places, furthest, to, finest, keep);
}

// The fewest of a line's points that keep it where it was drawn (Douglas and Peucker), and never
// more than `most`: a very long line is kept less finely.
export function simplified(points, w, h, most = 400) {
  const places = points.map(([x, y]) => [(x * w) / h, y]);
  for (let finest = FINEST; ; finest *= 2) {
    const keep = new Set([0, points.length - 1]);
    kept(places, 0, places.length - 1, finest, keep);
    if (keep.size <= most) return points.filter((_, n) => keep.has(n));
  }
}
