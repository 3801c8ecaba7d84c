// What a camera sees, in metres on the plan, so that its cone follows while it is moved: as
// clinics/compute/sight.py, sight_cones.py and plan_drawing/reach.py say, and tried against them.
// Knows no page.

const N_POOL_WATER = 1.333;
const START_AIM_M = 1.25;
const TURN_LOOK_M = 5;
const WALL_ROOM_M = 1;
const NEAR_M = 1e-9;
const [LEAST_M, MOST_M, ALONG_M] = [4, 15, 7.5]; // how far a cone is drawn

const rad = (deg) => (deg * Math.PI) / 180;
const deg = (angle) => (angle * 180) / Math.PI;

function usualAim(stand, pool) {
  const swumY = pool.lane / 2;
  const atStart = stand.x <= WALL_ROOM_M;
  const atFar = stand.x >= pool.course - WALL_ROOM_M;
  const reach = stand.kind === "turn-window" ? pool.width : pool.lane;
  if ((atStart || atFar) && stand.y >= 0 && stand.y <= reach) {
    const inward = Math.min(TURN_LOOK_M, pool.course / 2);
    return [atStart ? inward : pool.course - inward, swumY];
  }
  if (stand.kind === "start-side") return [START_AIM_M, swumY];
  return [Math.min(Math.max(stand.x, 0), pool.course), swumY];
}

function bearingOf(stand, pool) {
  if (stand.bearing !== null) return stand.bearing;
  const [aimX, aimY] = usualAim(stand, pool);
  const [along, across] = [aimX - stand.x, aimY - stand.y];
  return Math.hypot(along, across) < NEAR_M ? 90 : deg(Math.atan2(across, along));
}

// Bearing, angle on the plan, and distance and width at the swum lane's middle (null: it looks
// past it). A camera in air looks down at the surface; one in water looks level.
export function sightOf(stand, pool) {
  const bearing = bearingOf(stand, pool);
  const half = rad(stand.angle) / 2;
  const angle = stand.port === "flat" ? deg(2 * Math.asin(Math.sin(half) / N_POOL_WATER)) : stand.angle;
  const across = pool.lane / 2 - stand.y;
  const rise = Math.sin(rad(bearing));
  if (across * rise <= NEAR_M) return { bearing, angle: angle, distance: null, width: null };
  const onPlan = across / rise;
  const distance = stand.port === "air" ? Math.hypot(onPlan, stand.z) : onPlan;
  const width = 2 * distance * Math.tan(rad(angle) / 2);
  return { bearing, angle: deg(2 * Math.atan(width / (2 * onPlan))), distance, width };
}

export function reachOf(stand, pool) {
  const rise = Math.sin(rad(bearingOf(stand, pool)));
  const across = (stand.y > pool.lane / 2 ? 0 : pool.lane) - stand.y;
  if (across * rise <= NEAR_M) return ALONG_M;
  return Math.min(Math.max(across / rise, LEAST_M), MOST_M);
}

function region(stand, pool) {
  const out = [-stand.x, stand.x - pool.course, -stand.y, stand.y - pool.width];
  const margin = stand.port === "air" ? Math.max(pool.deck, ...out) : 0;
  const [right, bottom] = [pool.course + margin, pool.width + margin];
  return [
    [-margin, -margin],
    [right, -margin],
    [right, bottom],
    [-margin, bottom],
  ];
}

// The part of a convex polygon where a * x + b * y + c >= 0 (Sutherland and Hodgman 1974).
function clipped(polygon, [a, b, c]) {
  const depths = polygon.map(([x, y]) => a * x + b * y + c);
  return polygon.flatMap(([x, y], n) => {
    const last = (n + polygon.length - 1) % polygon.length;
    const [x0, y0] = polygon[last];
    const [before, here] = [depths[last], depths[n]];
    const share = before / (before - here);
    const cut = before * here < 0 ? [[x0 + share * (x - x0), y0 + share * (y - y0)]] : [];
    return here >= 0 ? [...cut, [x, y]] : cut;
  });
}

// The cone's corners; empty if the camera looks away from what it could see.
export function coneOf(stand, pool) {
  const seen = sightOf(stand, pool);
  const [axis, half] = [rad(seen.bearing), rad(seen.angle) / 2];
  const through = (a, b) => [a, b, -a * stand.x - b * stand.y];
  const planes = [
    through(-Math.sin(axis - half), Math.cos(axis - half)),
    through(Math.sin(axis + half), -Math.cos(axis + half)),
    through(-Math.cos(axis), -Math.sin(axis)),
  ];
  planes[2][2] += reachOf(stand, pool);
  const corners = planes.reduce(clipped, region(stand, pool));
  return new Set(corners.map(String)).size > 2 ? corners : [];
}
