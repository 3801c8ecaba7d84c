// Where a station of a kind may stand, in metres on the plan: as clinics/compute/plan_drawing/moves.py
// says, and tried against it. Knows no page.

export const STEP_M = 0.1;
export const BIG_STEP_M = 1;
const SNAP_M = 0.3;
const WALL_ROOM_M = 1;
const ROOM_M = { underwater: 0, "turn-window": WALL_ROOM_M };

const rounded = (value) => Math.round(value * 100) / 100 + 0;
const between = (value, low, high) => Math.min(Math.max(value, low), high);

function within(x, y, pool, room) {
  return [between(x, -room, pool.course + room), between(y, -room, pool.width + room)];
}

function onDeck(was, x, y, pool) {
  if (!(x > 0 && x < pool.course && y > 0 && y < pool.width)) return [x, y];
  const edges = [
    { own: was.y <= 0, off: y, at: [x, 0] },
    { own: was.y >= pool.width, off: pool.width - y, at: [x, pool.width] },
    { own: was.x <= 0, off: x, at: [0, y] },
    { own: was.x >= pool.course, off: pool.course - x, at: [pool.course, y] },
  ];
  const own = edges.filter((edge) => edge.own);
  const nearest = (one, other) => (other.off < one.off ? other : one);
  return (own.length ? own : edges).reduce(nearest).at;
}

// The station moved to (x, y), or as near as it may.
export function moved(stand, x, y, pool) {
  const room = ROOM_M[stand.kind];
  const [toX, toY] =
    room === undefined
      ? onDeck(stand, ...within(x, y, pool, pool.deck), pool)
      : within(x, y, pool, room);
  return { ...stand, x: rounded(toX), y: rounded(toY) };
}

function near(value, end) {
  const wall = Math.abs(value) <= Math.abs(value - end) ? 0 : end;
  return Math.abs(value - wall) <= SNAP_M + 1e-9 ? wall : value;
}

// Where a drag ends: a turn window near a wall stands at it.
export function snapped(stand, pool) {
  if (stand.kind !== "turn-window") return stand;
  return { ...stand, x: rounded(near(stand.x, pool.course)), y: rounded(near(stand.y, pool.width)) };
}
