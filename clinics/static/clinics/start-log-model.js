// The log of one clinic on this phone: what is known, and what can be done. Each act is on the
// disk when its promise is fulfilled; if it is rejected, the disk did not take it.

import { newId } from "./start-log-clock.js";
import { changedNumbers, consentOf, mergedLines } from "./start-log-merge.js";
import { stationWords, wishesOf } from "./start-log-merge.js";
import { swimmersOf, upNext, went } from "./start-log-order.js";

export class Log {
  constructor({ store, clock, lockedS }) {
    Object.assign(this, { store, clock, lockedS });
    this.refresh();
  }

  // Everything that follows from what the server told and what is kept here; cheap enough to be
  // computed whenever something changed.
  refresh() {
    const { items, record } = this.store;
    this.state = record.state ?? null;
    this.swimmers = swimmersOf(this.state?.entries ?? []);
    this.groups = new Set(this.swimmers.map((entry) => entry.group)).size;
    this.lines = mergedLines(this.state?.log ?? [], items);
    this.wishes = wishesOf(items);
    this.changed = changedNumbers(this.state?.log ?? [], items);
    this.stations = this.state?.stations ?? [];
    this.stationWords = stationWords(this.state?.words_of_stations ?? [], items);
    this.conflicts = this.state?.conflicts ?? [];
    this.answers = items.filter((item) => item.kind === "answer");
    this.refused = items.filter((item) => item.state === "refused" && item.kind !== "answer");
    this.order = this.upNext();
  }

  upNext() {
    const { swimmers: entries, lines, wishes, changed } = this;
    const nextUp = this.state?.next_up ?? null;
    return upNext({ entries, nextUp, lines, wishes, changed, nowMs: this.clock.nowMs() });
  }

  swimmer(number) {
    return this.swimmers.find((entry) => entry.number === number);
  }

  wantsAgain(number) {
    return this.order.next.some((one) => one.entry.number === number && one.why === "again");
  }

  consent(entry) {
    return consentOf(entry, this.answers);
  }

  line(clientId) {
    return this.lines.find((line) => line.client_id === clientId);
  }

  // The newest line of this phone that stands.
  get lastOwn() {
    return this.lines.filter((line) => line.mine && !line.undone).at(-1);
  }

  // Seconds until the next start can be logged here.
  lockedFor(nowMs = this.clock.nowMs()) {
    const last = this.lines.filter((line) => line.mine && !line.undone && went(line)).at(-1);
    const left = last ? last.instant_ms / 1000 + this.lockedS - nowMs / 1000 : 0;
    return left > 0 && left <= this.lockedS ? left : 0;
  }

  // `at` as from Clock.at; `entry` null: nobody could say who it was.
  async tap({ entry, outcome, at, note = "" }) {
    const id = newId();
    const sign = entry && this.consent(entry);
    const body = {
      number: entry?.number ?? null,
      outcome,
      note,
      ...at,
      consent_shown: sign ? sign.agrees : null,
      consent_known_ms: sign ? sign.at_ms : null,
    };
    await this.store.keep("line", id, body, at.guess_ms);
    return id;
  }

  async undo(clientId) {
    await this.store.keep("undone", clientId, {}, this.clock.nowMs());
  }

  // Whoever was called back right after the signal has not swum: that line goes, another says so.
  async calledBack(line) {
    const own = this.store.find("line", line.client_id)?.body;
    const { run, monotonic_ms, wall_ms, guess_ms } = own ?? this.clock.at();
    const at = { run, monotonic_ms, wall_ms, guess_ms };
    const entry = this.swimmer(line.number) ?? null;
    // both at once: what no disk takes is in memory at least, and not only the half of it
    await Promise.all([this.undo(line.client_id), this.tap({ entry, outcome: "false-start", at })]);
  }

  async wish(number, kind, { from_ms = null, gone = false } = {}) {
    const { wall_ms, guess_ms } = this.clock.at();
    await this.store.keep("wish", newId(), { number, kind, from_ms, gone, wall_ms }, guess_ms);
  }

  async stationSays(station, state) {
    const { wall_ms, guess_ms } = this.clock.at();
    await this.store.keep("station-word", newId(), { station, state, wall_ms }, guess_ms);
  }

  // The server knows the line by its id and takes the newest note; the rest stays as it has it.
  async note(line, note) {
    const own = this.store.find("line", line.client_id);
    const { number, outcome, instant_ms: ms } = line;
    const as = { run: "note", monotonic_ms: 0, wall_ms: ms, guess_ms: ms, elsewhere: true };
    const body = { number, outcome, ...(own?.body ?? as), note, noted_ms: this.clock.at().wall_ms };
    await this.store.keep("line", line.client_id, body, own?.at_ms ?? ms);
  }

  async forget(item) {
    await this.store.remove([item]);
  }
}
