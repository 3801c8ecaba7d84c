// How far the server is ahead of this phone's monotonic clock, from time stamps that went to and
// fro. The same arithmetic as clinics/compute/phone_clock/exchange.py, of the newest burst alone:
// the server computes the instants that count; this is for what the page shows. No page in here.

const RATE_LIMIT = 200e-6;
const RESOLUTION_MS = 1;
const RESOLUTION_U_MS = RESOLUTION_MS / Math.sqrt(12);
const SPLIT = 0.7;
const WAIT = 1.6, WAIT_SHARE = 0.13, WAIT_COUNT = 2;
const MOST_SHARE = 0.97;
const STEP_MS = 250; // a clock that slept, or was set, by more than that

const least = (values) => Math.min(...values);

function waitLeft(ways, roundTrip) {
  const low = least(ways);
  const scatter = ways.reduce((sum, way) => sum + way - low, 0);
  return (scatter + WAIT_COUNT * WAIT_SHARE * roundTrip) / (ways.length - 1 + WAIT_COUNT) / ways.length;
}

// What lies below all of `up` and above all of -`down`: [estimate, standard uncertainty], in ms.
export function middleAndU(up, down) {
  const roundTrip = Math.max(least(up) + least(down), 0);
  const waits = Math.min(waitLeft(up, roundTrip) + waitLeft(down, roundTrip), roundTrip);
  const expanded = Math.min(
    Math.hypot(SPLIT * (roundTrip - waits), WAIT * waits) / 2,
    (MOST_SHARE * roundTrip) / 2,
  );
  return [(least(up) - least(down)) / 2, Math.hypot(expanded / 2, RESOLUTION_U_MS)];
}

function isPossible(one) {
  return one.came_ms >= one.sent_ms && one.answered_ms >= one.server_ms;
}

// { offset_ms, u_ms, at_ms, wall_ms } of one burst: server minus monotonic clock; null if none
// of the exchanges can be.
export function bestOffset(exchanges) {
  const possible = exchanges.filter(isPossible);
  if (!possible.length) return null;
  const trip = (one) => one.came_ms - one.sent_ms - (one.answered_ms - one.server_ms);
  const quickest = possible.reduce((a, b) => (trip(b) < trip(a) ? b : a));
  const at_ms = (quickest.sent_ms + quickest.came_ms) / 2;
  const origin = quickest.server_ms - quickest.sent_ms;
  const aside = (one) => RATE_LIMIT * Math.abs((one.sent_ms + one.came_ms) / 2 - at_ms);
  const up = possible.map((one) => one.server_ms - one.sent_ms - origin + aside(one));
  const down = possible.map((one) => one.came_ms - one.answered_ms + origin + aside(one));
  const [middle, u_ms] = middleAndU(up, down);
  const wall_ms = quickest.wall_ms + (at_ms - quickest.sent_ms);
  return { offset_ms: origin + middle, u_ms, at_ms, wall_ms };
}

// Which clock to believe at (monotonic, wall): { how, guess_ms, expanded_ms }. `measured` is of
// this run; `ahead` is what an earlier run knew: { ahead_ms, u_ms, at_wall_ms }, server minus wall.
// how: "measured", "bridged" (by the phone's time of day) or "unknown" (its time of day as it is).
export function guessAt(monotonicMs, wallMs, measured, ahead) {
  if (measured) {
    const passed = monotonicMs - measured.at_ms;
    const step = wallMs - measured.wall_ms - passed;
    if (Math.abs(step) <= STEP_MS) {
      const expanded_ms = 2 * measured.u_ms + RATE_LIMIT * Math.abs(passed);
      return { how: "measured", guess_ms: monotonicMs + measured.offset_ms, expanded_ms };
    }
    const of_run = measured.offset_ms + measured.at_ms - measured.wall_ms;
    ahead = { ahead_ms: of_run, u_ms: measured.u_ms, at_wall_ms: measured.wall_ms };
  }
  if (!ahead) return { how: "unknown", guess_ms: wallMs, expanded_ms: null };
  const expanded_ms = 2 * ahead.u_ms + RATE_LIMIT * Math.abs(wallMs - ahead.at_wall_ms);
  return { how: "bridged", guess_ms: wallMs + ahead.ahead_ms, expanded_ms };
}

// What an offset of this run says of the phone's time of day, for the runs that follow.
export function aheadOfWall(measured) {
  const ahead_ms = measured.offset_ms + measured.at_ms - measured.wall_ms;
  return { ahead_ms, u_ms: measured.u_ms, at_wall_ms: measured.wall_ms };
}

// Which words say how well a clock is known: the key of a sentence and its number.
export function accuracyWords({ how, expanded_ms }) {
  if (how === "unknown") return ["unknown", 0];
  if (how === "bridged") return ["bridged", 0];
  if (expanded_ms <= 100) return ["tenth", 0];
  if (expanded_ms <= 500) return ["half", 0];
  if (expanded_ms <= 1000) return ["second", 0];
  return ["seconds", Math.ceil(expanded_ms / 1000)];
}
