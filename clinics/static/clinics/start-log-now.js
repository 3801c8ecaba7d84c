// Who is next, in big type: consent sign, “lane clear, underwater ready” as a step before, and the
// one large button. It takes the instant at which it is pressed down, not that of letting go.

import { awayOutcome } from "./start-log-merge.js";
import { parts, setText } from "./start-log-words.js";

const OLD_MS = 15 * 60_000; // a sign that is older says so
const SAME_PRESS_MS = 1000;

export class Now {
  // `acts.away(entry, outcome, event)` logs a start, `acts.draw()` draws the whole page.
  constructor(page, { log, clock, words, acts }) {
    Object.assign(this, { log, clock, words, acts, page, part: parts(page) });
    Object.assign(this, { chosen: null, seen: null, unfilmed: false, why: "" });
    this.pressedMs = -Infinity;
    this.part("ask-plain").hidden = true;
    this.part("arm").hidden = false;
    this.part("unfilmed-row").hidden = false;
    this.part("arm").addEventListener("click", () => this.arm());
    const away = this.part("away");
    away.addEventListener("pointerdown", (event) => {
      if (event.isPrimary && event.button === 0) this.press(event);
    });
    // By keyboard or voice there is no pressing down; a click that follows one is the same press.
    away.addEventListener("click", (event) => {
      event.preventDefault();
      if (event.timeStamp - this.pressedMs > SAME_PRESS_MS) this.press(event);
    });
    this.part("unfilmed").addEventListener("change", (event) => {
      this.unfilmed = event.target.checked;
      this.draw();
    });
  }

  // Nobody: { entry: null }. An unknown swimmer: { entry: {number: null} }.
  choose(entry) {
    this.chosen = entry;
    this.seen = null;
    this.acts.draw();
  }

  after() {
    this.chosen = null;
    this.seen = null;
    this.unfilmed = false;
    this.part("unfilmed").checked = false;
  }

  // Once the crew has confirmed for somebody, another phone's news does not change the name.
  get current() {
    if (this.seen) return this.seen.entry;
    if (this.chosen) return this.chosen;
    return this.log.order.next[0]?.entry ?? null;
  }

  arm() {
    this.seen = this.seen ? null : { entry: this.current, at: this.clock.nowMs() };
    this.draw();
  }

  press(event) {
    const entry = this.current;
    if (!entry || !this.seen || this.log.lockedFor()) return;
    this.pressedMs = event.timeStamp;
    const agrees = entry.number === null || this.log.consent(entry).agrees;
    this.acts.away(entry, awayOutcome(agrees, !this.unfilmed), event);
  }

  draw() {
    const { part, words, current } = this;
    const closed = Boolean(this.log.state?.clinic?.closed);
    part("form").hidden = !current || closed;
    if (part("no-one")) part("no-one").hidden = true;
    part("through").hidden = Boolean(current) && !closed;
    if (closed) setText(part("through"), words.say("closed"));
    else if (!this.log.state) setText(part("through"), words.say("no-order"));
    else setText(part("through"), words.say(this.log.order.later.length ? "end-later" : "end"));
    if (current) this.drawSwimmer(current);
    this.tick();
  }

  drawSwimmer(entry) {
    const { part, words } = this;
    const unknown = entry.number === null;
    const all = this.log.groups;
    setText(part("group"), unknown ? "" : words.say("group", { n: entry.group, all }));
    setText(part("number"), unknown ? "" : String(entry.number));
    setText(part("name"), unknown ? words.say("nobody") : entry.name);
    setText(part("how"), unknown ? "" : entry.how);
    const why = this.log.order.next.find((one) => one.entry.number === entry.number)?.why;
    part("why").hidden = !why;
    setText(part("why"), why ? words.say(`why-${why}`) : "");
    this.drawSign(unknown ? null : this.log.consent(entry));
    for (const button of this.page.querySelectorAll("[data-named]")) button.disabled = unknown;
  }

  drawSign(sign) {
    const { part, words } = this;
    part("agrees").hidden = !sign?.agrees;
    part("not-agreed").hidden = !sign || sign.agrees;
    if (!sign) return;
    const ageMs = this.clock.nowMs() - sign.at_ms;
    const values = { at: words.time(sign.at_ms, "minute"), n: Math.round(ageMs / 60_000) };
    const name = sign.here ? "as-of-here" : ageMs > OLD_MS ? "as-of-old" : "as-of";
    for (const small of this.page.querySelectorAll("[data-as-of]")) {
      small.classList.toggle("old", name === "as-of-old");
      setText(small, words.say(name, values));
    }
  }

  // What changes with the clock alone; four times a second.
  tick() {
    const { part, words, seen, current } = this;
    const nowMs = this.clock.nowMs();
    setText(part("now"), words.time(nowMs));
    if (!current) return;
    const left = Math.ceil(this.log.lockedFor(nowMs));
    const filmed = !this.unfilmed && (current.number === null || this.log.consent(current).agrees);
    const away = part("away");
    away.disabled = !seen || left > 0;
    away.value = filmed ? "away" : "not-filmed";
    const name = left > 0 ? "locked" : filmed ? "away" : "away-not-filmed";
    setText(away, words.say(name, { n: left }));
    part("arm").setAttribute("aria-pressed", String(Boolean(seen)));
    const at = seen && words.time(seen.at);
    setText(part("arm-words"), seen ? words.say("seen-at", { at }) : words.say("seen"));
    const last = this.log.lastOwn;
    const back = left > 0 && last ? { n: last.number ?? "" } : null;
    setText(part("called-back"), words.say(back ? "called-back-number" : "called-back", back ?? {}));
    part("undo").hidden = !last;
  }
}
