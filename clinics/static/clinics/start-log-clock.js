// One run of this phone's clock: it counts from the opening of the page, nobody can set it, and a
// page that is opened anew begins another run. How far the server's clock is ahead is measured by
// time stamps to and fro; each is kept, so that the server can compute it again.

import { newId } from "../portal/new-id.js";
import { aheadOfWall, bestOffset, guessAt } from "./start-log-offset.js";

export { newId };

const EXCHANGES = 6;
const PATIENCE_MS = 4000;
const LATE_EVENT_MS = 1500; // an event that claims to be older than that has another clock

export class Clock {
  // `ahead`: what an earlier run knew of this phone's time of day. `came(exchanges, ahead)` is
  // told of every burst.
  constructor(url, { ahead = null, came = () => {} } = {}) {
    Object.assign(this, { url, ahead, came, run: newId(), measured: null, measuring: false });
  }

  // { run, monotonic_ms, wall_ms, guess_ms } of now, or of when an event happened.
  at(event) {
    const now = performance.now();
    const told = event?.timeStamp;
    const fits = typeof told === "number" && told <= now && now - told < LATE_EVENT_MS;
    const monotonic_ms = fits ? told : now;
    const wall_ms = Date.now() - (now - monotonic_ms);
    const { guess_ms } = guessAt(monotonic_ms, wall_ms, this.measured, this.ahead);
    return { run: this.run, monotonic_ms, wall_ms, guess_ms };
  }

  nowMs() {
    return this.at().guess_ms;
  }

  accuracy() {
    return guessAt(performance.now(), Date.now(), this.measured, this.ahead);
  }

  // True if there was an answer. The first request is thrown away: it may have to open a
  // connection, which would look like a long way there.
  async measure() {
    if (this.measuring) return false;
    this.measuring = true;
    const burst = [];
    try {
      await this.exchange();
      for (let n = 0; n < EXCHANGES; n += 1) burst.push(await this.exchange());
    } catch {
      // no network, or signed out: what came so far counts
    } finally {
      this.measuring = false;
    }
    const best = bestOffset(burst);
    if (!best) return false;
    this.measured = best;
    this.ahead = aheadOfWall(best);
    await this.came(burst, this.ahead);
    return true;
  }

  async exchange() {
    const url = new URL(this.url, location.href);
    url.searchParams.set("n", newId().slice(0, 8));
    const wall_ms = Date.now();
    const sent_ms = performance.now();
    const response = await fetch(url, {
      headers: { Accept: "application/json" },
      cache: "no-store",
      signal: AbortSignal.timeout?.(PATIENCE_MS),
    });
    const came_ms = performance.now();
    if (!response.ok) throw new Error(`${response.status}`);
    const told = await response.json();
    const server_ms = told.received_ms ?? told.now_ms;
    const answered_ms = told.answered_ms ?? told.now_ms;
    return {
      run: this.run,
      server_ms,
      answered_ms,
      wall_ms,
      ...onTheWire(url.href, sent_ms, came_ms),
    };
  }
}

// When the request really left and the answer began to arrive, as far as the browser tells: a
// service worker and a busy page would else count as a way there, or back.
function onTheWire(url, sent_ms, came_ms) {
  const entry = performance.getEntriesByName(url, "resource").at(-1);
  const sent = entry?.requestStart || sent_ms;
  const came = entry?.responseStart || came_ms;
  const fits = sent >= sent_ms && came <= came_ms && came > sent;
  return fits ? { sent_ms: sent, came_ms: came } : { sent_ms, came_ms };
}
