// Drawings as geometry. Pure, and the twin of feedback/compute/drawing.py, which prints the same
// lines into stills: a test compares the two.
//
// Points are fractions of the picture; places are px of its largest rendition, y down.

const RING = 96;
const ARC = 24;
const CURVE = 6;

export const NEEDED = { pointer: 2, ring: 2, joint: 3, level: 1, "plumb-line": 1 }; // a trace: any

export const inPixels = (points, w, h) => points.map(([x, y]) => [x * w, y * h]);

const distance = ([ax, ay], [bx, by]) => Math.hypot(bx - ax, by - ay);
const between = ([ax, ay], [bx, by]) => [(ax + bx) / 2, (ay + by) / 2];
const at = ([x, y], turn, reach) => [x + reach * Math.cos(turn), y + reach * Math.sin(turn)];
const within = (value, low, high) => Math.min(Math.max(value, low), high);
const turned = (from, to, parts, place) =>
  Array.from({ length: parts + 1 }, (_, n) => place(from + ((to - from) * n) / parts));

// The angle at the middle one of three points, 0 to 180 degrees, as seen in the picture.
export function angleDeg(points, w, h) {
  const [[ax, ay], [vx, vy], [bx, by]] = inPixels(points, w, h);
  const across = (ax - vx) * (by - vy) - (ay - vy) * (bx - vx);
  const along = (ax - vx) * (bx - vx) + (ay - vy) * (by - vy);
  return (Math.atan2(Math.abs(across), along) * 180) / Math.PI;
}

export const labelOf = (kind, points, w, h) =>
  (kind === "joint" && points.length === 3 ? `${Math.round(angleDeg(points, w, h))}°` : "");

// Direction of the first limb, the signed turn to the second, the radius of the arc between.
function opening([one, joint, other], h) {
  const begin = Math.atan2(one[1] - joint[1], one[0] - joint[0]);
  const end = Math.atan2(other[1] - joint[1], other[0] - joint[0]);
  let sweep = end - begin;
  if (!(-Math.PI < sweep && sweep <= Math.PI)) sweep -= Math.sign(sweep) * 2 * Math.PI;
  const limb = Math.min(distance(joint, one), distance(joint, other));
  return { begin, sweep, reach: Math.min(h * 0.06, limb * 0.5) };
}

export function labelPlace(points, w, h, away) {
  const places = inPixels(points, w, h);
  const { begin, sweep, reach } = opening(places, h);
  const [x, y] = at(places[1], begin + sweep / 2, reach + away);
  return [within(x, away, w - away), within(y, away, h - away)];
}

const bezier = (a, pull, b, t) => [0, 1].map((axis) =>
  (1 - t) ** 2 * a[axis] + 2 * t * (1 - t) * pull[axis] + t ** 2 * b[axis]);

function smooth(places) {
  if (places.length < 3) return places;
  const curve = [places[0]];
  for (let n = 1; n < places.length - 1; n += 1) {
    const [start, end] = [between(places[n - 1], places[n]), between(places[n], places[n + 1])];
    curve.push(...turned(0, 1, CURVE, (t) => bezier(start, places[n], end, t)));
  }
  return [...curve, places.at(-1)];
}

const shapes = {
  pointer([tail, tip], w, h) {
    const back = Math.atan2(tail[1] - tip[1], tail[0] - tip[0]);
    const size = Math.min(h * 0.05, distance(tail, tip) * 0.5);
    const [left, right] = [-1, 1].map((side) => at(tip, back + (side * 25 * Math.PI) / 180, size));
    return [{ places: [tail, tip], patterned: true }, { places: [left, tip, right], patterned: false }];
  },
  ring([one, other]) {
    const [cx, cy] = between(one, other);
    const [rx, ry] = [Math.abs(other[0] - one[0]) / 2, Math.abs(other[1] - one[1]) / 2];
    const around = (turn) => [cx + rx * Math.cos(turn), cy + ry * Math.sin(turn)];
    return [{ places: turned(0, 2 * Math.PI, RING, around), patterned: true }];
  },
  joint(places, w, h) {
    if (places.length < 3) return [{ places, patterned: true }];
    const { begin, sweep, reach } = opening(places, h);
    const arc = turned(begin, begin + sweep, ARC, (turn) => at(places[1], turn, reach));
    return [{ places, patterned: true }, { places: arc, patterned: false }];
  },
  trace: (places, w, h, straight) => [{ places: straight ? places : smooth(places), patterned: true }],
  level([[x, y]], w, h) {
    const tick = h * 0.015;
    return [{ places: [[0, y], [w, y]], patterned: true },
      { places: [[x, y - tick], [x, y + tick]], patterned: false }];
  },
  "plumb-line"([[x, y]], w, h) {
    const tick = h * 0.015;
    return [{ places: [[x, 0], [x, h]], patterned: true },
      { places: [[x - tick, y], [x + tick, y]], patterned: false }];
  },
};

// Lines of a drawing, { places, patterned }; what is not finished yet gives what there is.
export function outlinesOf(kind, points, straight, w, h) {
  const places = inPixels(points, w, h);
  if (!places.length || (places.length < 2 && ["pointer", "ring"].includes(kind))) return [];
  return shapes[kind](places, w, h, straight);
}

export const pathOf = (places) =>
  `M${places.map(([x, y]) => `${x.toFixed(2)} ${y.toFixed(2)}`).join("L")}`;
