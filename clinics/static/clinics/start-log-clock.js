// How far this phone's clock is off the server's: of some answers the quickest tells best.

const TRIES = 5;

export function newRun() {
  return crypto.randomUUID ? crypto.randomUUID() : `${Date.now()}-${Math.random()}`.slice(0, 60);
}

// One run of this phone's clock: instants come from a clock that nobody can set meanwhile.
export class Clock {
  constructor(url) {
    this.url = url;
    this.run = newRun();
    this.zero = Date.now() - performance.now();
    this.offsetMs = 0;
    this.quickestMs = Infinity;
  }

  now() {
    return new Date(this.zero + performance.now() + this.offsetMs);
  }

  async measure() {
    for (let n = 0; n < TRIES; n += 1) {
      try {
        const sent = performance.now();
        const response = await fetch(this.url, { headers: { Accept: "application/json" } });
        const came = performance.now();
        if (!response.ok) return;
        const told = await response.json();
        if (came - sent < this.quickestMs) {
          this.quickestMs = came - sent;
          this.offsetMs = told.now_ms - (this.zero + (sent + came) / 2);
        }
      } catch {
        return; // without network the phone's own clock has to do
      }
    }
  }
}
