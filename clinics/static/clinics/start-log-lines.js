// The log, newest first: what was said of whom, whose phone, what is still to be sent; each line
// can be undone, noted, or followed by a second go. Below it what contradicts itself, and what the
// server did not take.

import { went } from "./start-log-order.js";
import { drawList, fromTemplate, parts, setText, twice } from "./start-log-words.js";

const SHOWN = 8;

export class Lines {
  constructor(page, { log, words, acts, kept }) {
    Object.assign(this, { page, log, words, acts, kept, part: parts(page), all: false });
    this.part("lines").replaceChildren();
    this.part("all-lines").addEventListener("click", () => {
      this.all = true;
      this.draw();
    });
  }

  who(number) {
    const entry = this.log.swimmer(number);
    return number === null ? this.words.say("nobody") : `${number} ${entry?.name ?? ""}`.trim();
  }

  what(line) {
    if (line.undone) return this.words.say("undone");
    const at = this.words.time(line.instant_ms, "tenth");
    if (line.outcome === "away") return at;
    if (line.outcome === "not-filmed") return `${at} ${this.words.say("not-filmed")}`;
    return this.words.say(line.outcome);
  }

  about(line) {
    const told = [];
    if (line.note) told.push(line.note);
    if (line.unkept) told.push(this.words.say("on-paper"));
    else if (!line.sent) told.push(this.words.say("on-phone"));
    if (line.doubtful) told.push(this.words.say("doubtful"));
    if (!line.mine && line.phone) told.push(this.words.say("by-phone", { name: line.phone }));
    else if (!line.mine && line.clock !== "server") told.push(this.words.say("other-phone"));
    return told.join(" · ");
  }

  draw() {
    const { log, part } = this;
    const lines = [...log.lines].reverse();
    part("all-lines").hidden = this.all || lines.length <= SHOWN;
    const shown = this.all ? lines : lines.slice(0, SHOWN);
    const fill = (item, line) => this.fill(item, line);
    drawList(part("lines"), shown, (line) => line.client_id, () => this.make(), fill);
    this.drawConflicts();
    this.drawRefused();
  }

  make() {
    const item = fromTemplate(this.page, "line")();
    const inside = parts(item);
    const line = () => this.log.line(item.dataset.key);
    const open = (on) => {
      inside("line-panel").hidden = !on;
      inside("change").setAttribute("aria-expanded", String(on));
    };
    inside("change").addEventListener("click", () => {
      open(inside("line-panel").hidden);
      inside("line-note").value = line().note ?? "";
    });
    inside("undo-line").addEventListener("click", () => {
      open(false);
      this.acts.undo(line());
    });
    inside("keep-note").addEventListener("click", () => {
      open(false);
      this.kept(this.log.note(line(), inside("line-note").value.trim()), inside("line-note").value);
    });
    inside("go-again").addEventListener("click", () => {
      const { number } = line();
      const gone = this.log.wantsAgain(number);
      open(false);
      this.kept(this.log.wish(number, "second-go", { gone }), this.who(number));
    });
    return item;
  }

  fill(item, line) {
    const inside = parts(item);
    item.dataset.clientId = line.client_id;
    item.classList.toggle("undone", line.undone);
    item.classList.toggle("unsent", !line.sent);
    setText(inside("who"), this.who(line.number));
    setText(inside("whose"), `: ${this.who(line.number)}`);
    setText(inside("what"), this.what(line));
    setText(inside("about"), this.about(line));
    inside("change").hidden = line.undone;
    if (line.undone) inside("line-panel").hidden = true;
    const asked = this.log.wantsAgain(line.number);
    setText(inside("go-again"), this.words.say(asked ? "again-asked" : "again"));
    inside("go-again").hidden = !went(line) || line.number === null;
  }

  drawConflicts() {
    const { log, part, words } = this;
    const open = log.conflicts
      .filter((one) => !one.settled)
      .map((one) => ({ ...one, lines: one.client_ids.map((id) => log.line(id)).filter(Boolean) }))
      .filter((one) => one.lines.filter((line) => !line.undone).length > 1);
    part("conflicts").hidden = !open.length;
    const key = (one) => `${one.kind} ${one.client_ids.join(" ")}`;
    const make = () => document.createElement("li");
    drawList(part("conflicts-list"), open, key, make, (item, one) => {
      const told = JSON.stringify([one.words, one.lines.map((line) => [line.undone, this.what(line)])]);
      if (item.dataset.told === told) return; // a button is not taken from under a finger
      item.dataset.told = told;
      const said = document.createElement("p");
      said.textContent = one.words;
      const buttons = one.lines.filter((line) => !line.undone).map((line) => {
        const button = document.createElement("button");
        button.type = "button";
        const what = `${this.who(line.number)}, ${this.what(line)}`;
        button.textContent = words.say("undo-what", { what });
        button.addEventListener("click", () => this.acts.undo(line));
        return button;
      });
      item.replaceChildren(said, ...buttons);
    });
  }

  drawRefused() {
    const { log, part, words } = this;
    part("refused").hidden = !log.refused.length;
    const make = () => document.createElement("li");
    drawList(part("refused-list"), log.refused, (one) => `${one.kind} ${one.id}`, make, (item, one) => {
      if (item.firstChild) return; // it does not change any more
      const said = document.createElement("p");
      const number = one.body.number ?? log.line(one.id)?.number ?? null;
      const at = words.time(one.at_ms, "tenth");
      said.textContent = `${this.who(number)}, ${at}: ${one.errors.join(" ")}`;
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = words.say("remove");
      twice(button, words.say("remove-sure"), () => this.kept(log.forget(one), ""));
      item.append(said, button);
    });
  }
}
