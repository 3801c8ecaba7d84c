// How a running player is kept to the common clock. Pure.

const DEAD_ZONE_S = 0.004; // of swim time
const ANEW_WALL_S = 0.12;
const ANEW_SWIM_S = 0.03;
const WITHIN_S = 0.3; // of wall time: how soon it shall be right

export const EVERY_MS = 100;
export const SLOWEST_RATE = 1 / 12; // below, players step from frame to frame instead

// `late_s`: swim time by which the view lags behind the clock. "anew": all are stopped, put in
// place and started again; else the factor for its speed.
export function steer(late_s, rate) {
  const wall_s = late_s / rate;
  if (Math.abs(wall_s) > ANEW_WALL_S && Math.abs(late_s) > ANEW_SWIM_S) return "anew";
  if (Math.abs(late_s) < DEAD_ZONE_S) return 1;
  const most = rate <= 0.5 ? 0.25 : 0.1;
  return 1 + Math.min(most, Math.max(-most, wall_s / WITHIN_S));
}
