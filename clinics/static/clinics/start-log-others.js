// Other swimmers to choose from, those who come late, and what the crew says of the cameras.

import { went, wishesByNumber } from "./start-log-order.js";
import { drawList, fromTemplate, parts, setText } from "./start-log-words.js";

export class Others {
  constructor(page, { log, words, now, kept }) {
    Object.assign(this, { page, log, words, now, kept, part: parts(page) });
    this.part("others").replaceChildren();
    page.addEventListener("click", (event) => {
      const link = event.target.closest("[data-choose]");
      if (!link) return;
      event.preventDefault();
      const number = link.dataset.choose;
      now.choose(number === "" ? { number: null } : log.swimmer(Number(number)));
      link.closest("details")?.removeAttribute("open");
      page.scrollIntoView();
    });
  }

  draw() {
    const { log, words, part } = this;
    const make = fromTemplate(this.page, "choice");
    const wished = wishesByNumber(log.wishes);
    const unknown = { number: null, name: words.say("nobody") };
    const key = (entry) => entry.number;
    drawList(part("others"), [...log.swimmers, unknown], key, make, (item, entry) =>
      this.fill(item, entry, this.about(entry, wished.get(entry.number))),
    );
    part("later-part").hidden = !log.order.later.length;
    const late = log.order.later.map(({ entry, from_ms }) => ({ ...entry, from_ms }));
    drawList(part("later"), late, key, () => this.makeLate(make), (item, entry) => {
      const at = words.time(entry.from_ms, "minute");
      this.fill(item, entry, words.say("there-from", { at }));
    });
    this.drawStations();
  }

  fill(item, entry, about) {
    const inside = parts(item);
    inside("choose").dataset.choose = entry.number ?? "";
    setText(inside("choice-number"), String(entry.number ?? ""));
    setText(inside("choice-name"), entry.name);
    setText(inside("choice-about"), about);
  }

  about(entry, wish) {
    if (entry.number === null) return "";
    const { log, words } = this;
    const told = [];
    if (!log.consent(entry).agrees) told.push(words.say("not-to-be-filmed"));
    const lines = log.lines.filter((line) => line.number === entry.number && !line.undone);
    const last = lines.at(-1);
    if (last && went(last)) told.push(words.say("in-log"));
    else if (last) told.push(words.say(last.outcome));
    if (log.wantsAgain(entry.number)) told.push(words.say("wants-again"));
    if (wish?.late && !lines.some(went))
      told.push(words.say("there-from", { at: words.time(wish.late.from_ms, "minute") }));
    return told.join(" · ");
  }

  makeLate(make) {
    const item = make();
    const button = parts(item)("is-here");
    button.hidden = false;
    button.addEventListener("click", () => {
      const number = Number(item.dataset.key);
      this.kept(this.log.wish(number, "late", { gone: true }), String(number));
    });
    return item;
  }

  drawStations() {
    const { log, words, part } = this;
    const said = log.stationWords;
    part("stations-part").hidden = !log.stations.length;
    const n = log.stations.filter((one) => said.get(one.id)?.state === "rolling").length;
    setText(part("stations-sum"), words.say("stations-sum", { n, all: log.stations.length }));
    const make = () => this.makeStation();
    drawList(part("stations"), log.stations, (one) => one.id, make, (item, station) => {
      const inside = parts(item);
      const word = said.get(station.id);
      setText(inside("station-name"), station.name);
      const at = word && words.time(word.at_ms, "minute");
      const about = word ? words.say(`station-${word.state}`, { at }) : words.say("station-nothing");
      const unsent = word && !word.sent ? ` · ${words.say("on-phone")}` : "";
      setText(inside("station-about"), about + unsent);
      item.querySelector("[role=group]").setAttribute("aria-label", station.name);
      for (const button of item.querySelectorAll("[data-station-says]")) {
        const its = button.dataset.stationSays === word?.state;
        button.setAttribute("aria-pressed", String(its));
      }
    });
  }

  makeStation() {
    const item = fromTemplate(this.page, "station")();
    item.addEventListener("click", (event) => {
      const state = event.target.closest("[data-station-says]")?.dataset.stationSays;
      if (state) this.kept(this.log.stationSays(item.dataset.key, state), "");
    });
    return item;
  }
}
