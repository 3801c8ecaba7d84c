// Two phones without a network compare their clocks: each shows its own as a code that changes, and
// reads the other's with its camera. Text of a code: clinics/compute/phone_clock/twins.py.

import { newId } from "./start-log-clock.js";
import { formatCode, readCode } from "./start-log-twin-code.js";
import { drawCode, Reader } from "./start-log-twin-sight.js";
import { parts, setText } from "./start-log-words.js";

const DRAWN_EVERY_MS = 250;
const ENOUGH = 5; // readings: the quickest of several tells best

export class Twins {
  constructor(page, { clock, store, words, sent }) {
    Object.assign(this, { clock, store, words, sent, part: parts(page) });
    Object.assign(this, { timer: 0, count: 0, facing: "environment" });
    this.reader = new Reader(this.part("twin-sight"), (text, atMs) => this.read(text, atMs));
    this.part("twin-show").addEventListener("click", () => this.show(!this.timer));
    this.part("twin-read").addEventListener("click", () => this.look(!this.reader.on));
    this.part("twin-turn").addEventListener("click", () => {
      this.facing = this.facing === "user" ? "environment" : "user";
      this.look(true);
    });
    this.part("phone-part").addEventListener("toggle", (event) => {
      if (!event.target.open) this.stop();
    });
    document.addEventListener("visibilitychange", () => document.hidden && this.stop());
  }

  say(name, values) {
    setText(this.part("twin-words"), name ? this.words.say(name, values) : "");
  }

  stop() {
    this.show(false);
    this.look(false);
  }

  show(on) {
    window.clearInterval(this.timer);
    this.timer = on ? window.setInterval(() => this.draw(), DRAWN_EVERY_MS) : 0;
    this.part("twin-code").hidden = !on;
    this.part("twin-show").setAttribute("aria-pressed", String(on));
    if (on) {
      this.draw();
      this.say("twin-shows");
    }
  }

  draw() {
    drawCode(this.part("twin-code"), (nowMs) => formatCode(this.clock.run, nowMs));
  }

  async look(on) {
    this.reader.stop();
    this.count = 0;
    const works = on && (await this.reader.begin(this.facing));
    if (works === null) return; // something else was wanted meanwhile
    this.part("twin-sight").hidden = !works;
    this.part("twin-turn").hidden = !works;
    this.part("twin-read").setAttribute("aria-pressed", String(works));
    if (on) this.say(works ? "twin-reads" : "twin-no-camera");
  }

  async read(text, read_ms) {
    const told = readCode(text);
    if (!told) return this.say("twin-other-code");
    if (told.run === this.clock.run) return this.say("twin-own-code");
    const scan = { shown_run: told.run, shown_ms: told.ms, read_run: this.clock.run, read_ms };
    this.count += 1;
    const n = this.count;
    await this.store.keep("scan", newId(), scan, this.clock.nowMs()).catch(() => {});
    this.say("twin-done", { n });
    this.sent();
    if (n >= ENOUGH) {
      await this.look(false);
      this.say("twin-done", { n });
    }
  }
}
