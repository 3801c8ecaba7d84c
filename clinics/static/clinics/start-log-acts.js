// What the buttons around AWAY do: did not come, goes later, called back, undo, comes late, note.

import { parts } from "./start-log-words.js";
import { went } from "./start-log-order.js";

const MINUTE_MS = 60_000;

export class Acts {
  // `kept(promise, what)` waits until an act is on the disk, and says so if it cannot be.
  constructor(page, { log, clock, kept, draw }) {
    Object.assign(this, { page, log, clock, kept, draw, part: parts(page) });
  }

  begin(now) {
    this.now = now;
    const form = this.part("form");
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const outcome = event.submitter?.value;
      if (outcome === "false-start") this.calledBack(event);
      else if (outcome === "no-show" || outcome === "skipped") this.tap(outcome, event);
    });
    // The second half of a double tap would be said of whoever is next.
    form.addEventListener("click", (event) => {
      if (event.detail > 1 && event.target.closest("[name=outcome]")) event.preventDefault();
    });
    // Enter in the note would press the form's first button, and that one logs a start.
    this.part("note").addEventListener("keydown", (event) => {
      if (event.key === "Enter") event.preventDefault();
    });
    for (const opener of this.page.querySelectorAll("[data-opens]")) this.panel(opener);
    this.part("undo").addEventListener("click", () => this.undo(this.log.lastOwn));
    form.addEventListener("click", (event) => {
      const minutes = Number(event.target.closest("[data-late]")?.dataset.late);
      if (minutes) this.late(minutes);
    });
  }

  panel(opener) {
    const panel = this.page.querySelector(`[data-panel="${opener.dataset.opens}"]`);
    const show = (open) => {
      panel.hidden = !open;
      opener.setAttribute("aria-expanded", String(open));
    };
    show(false);
    opener.hidden = false;
    opener.addEventListener("click", () => {
      show(panel.hidden);
      if (!panel.hidden) panel.querySelector("input, button").focus();
    });
    panel.close = () => show(false);
  }

  closePanels() {
    for (const panel of this.page.querySelectorAll("[data-panel]")) panel.close?.();
  }

  away(entry, outcome, event) {
    this.log_(entry, outcome, this.clock.at(event));
  }

  tap(outcome, event) {
    const entry = this.now.current;
    if (entry && entry.number !== null) this.log_(entry, outcome, this.clock.at(event));
  }

  log_(entry, outcome, at) {
    const note = this.part("note").value.trim();
    const act = this.log.tap({ entry: entry.number === null ? null : entry, outcome, at, note });
    this.part("note").value = "";
    this.closePanels();
    this.now.after();
    this.kept(act, `${entry.number ?? ""} ${entry.name ?? ""}, ${outcome}`, at.guess_ms);
  }

  // While the button is locked it is the one who just went that is called back.
  calledBack(event) {
    const last = this.log.lastOwn;
    if (!this.log.lockedFor() || !last || !went(last)) return this.tap("false-start", event);
    const entry = this.log.swimmer(last.number);
    this.kept(this.log.calledBack(last), `${last.number ?? ""}`);
    if (entry) this.now.choose(entry);
  }

  undo(line) {
    if (!line) return;
    this.kept(this.log.undo(line.client_id), `${line.number ?? ""}`);
    const entry = this.log.swimmer(line.number);
    if (entry) this.now.choose(entry);
  }

  late(minutes) {
    const entry = this.now.current;
    if (!entry || entry.number === null) return;
    const from_ms = this.clock.nowMs() + minutes * MINUTE_MS;
    this.closePanels();
    this.now.after();
    this.kept(this.log.wish(entry.number, "late", { from_ms }), `${entry.number}`);
  }
}
