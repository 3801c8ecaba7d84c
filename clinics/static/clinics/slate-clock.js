// The server's clock on this phone, and within how much it is known.

const TRIES = 8;
const PATIENCE_MS = 8000; // a network that went away may leave a question open for minutes
const DRIFT = 5e-5; // a phone's clock runs off by less than 50 millionths
export const TOO_OLD_MS = 150000;
export const TOO_VAGUE_MS = 500;

// When the request went out and the answer began to come, as the browser noted it: closer than
// this page's own turns, which wait for whatever else it does.
function onTheWire(url, sent, came) {
  const [noted] = performance.getEntriesByName(url, "resource").slice(-1);
  performance.clearResourceTimings();
  const { requestStart = 0, responseStart = 0 } = noted ?? {};
  const isPlausible = requestStart >= sent && responseStart > requestStart && responseStart <= came;
  return isPlausible ? [requestStart, responseStart] : [sent, came];
}

// Instants are of performance.now(): a clock that nobody can set meanwhile.
export class ServerClock {
  constructor(url) {
    this.url = url;
    this.state = "measuring"; // then measured, slow, offline or signed-out
    this.offsetMs = 0;
    this.halfMs = Infinity;
    this.measuredAt = -Infinity;
    this.measuredDate = null;
    this.aheadMs = 0;
    this.turn = 0;
  }

  // Of several answers the quickest tells best: the server's instant lies somewhere between asking
  // and having the answer, so half the round trip is the most that its middle can be wrong.
  async measure() {
    let best = null;
    const mine = this.turn;
    for (let n = 0; n < TRIES; n += 1) {
      const one = await this.ask();
      if (mine !== this.turn) return; // forgotten meanwhile
      if (typeof one === "string") {
        if (!best) this.state = one;
        break;
      }
      if (!best || one.halfMs < best.halfMs) best = one;
    }
    if (!best) return;
    Object.assign(this, best);
    // How far the clock that this phone shows is ahead of the server's; negative: behind.
    this.aheadMs = Date.now() - this.at(performance.now());
    this.measuredDate = new Date(this.at(this.measuredAt));
    this.state = this.halfMs > TOO_VAGUE_MS ? "slow" : "measured";
  }

  async ask() {
    try {
      const sent = performance.now();
      const response = await fetch(this.url, {
        headers: { Accept: "application/json" },
        cache: "no-store",
        signal: AbortSignal.timeout?.(PATIENCE_MS),
      });
      const came = performance.now();
      if (response.status === 401 || response.status === 403 || response.redirected) {
        return "signed-out";
      }
      if (!response.ok) return "offline";
      const told = await response.json();
      const [asked, answered] = onTheWire(response.url, sent, came);
      return {
        offsetMs: told.now_ms - (asked + answered) / 2,
        halfMs: (answered - asked) / 2,
        measuredAt: came,
      };
    } catch {
      return "offline";
    }
  }

  // A phone that slept may have stopped its clock: what was measured before counts no more.
  forget() {
    this.turn += 1;
    this.measuredAt = -Infinity;
    this.state = "measuring";
  }

  isKnown(at = performance.now()) {
    return this.halfMs <= TOO_VAGUE_MS && at - this.measuredAt < TOO_OLD_MS;
  }

  at(instant) {
    return instant + this.offsetMs;
  }

  uMs(instant = performance.now()) {
    return this.halfMs + DRIFT * Math.max(0, instant - this.measuredAt);
  }
}
