// The start log at the pool's edge: one tap per start, kept on this phone until it is sent.

import { Clock, newRun } from "./start-log-clock.js";
import { Queue } from "./start-log-queue.js";
import { Sender } from "./start-log-send.js";

const page = document.querySelector("[data-start-log]");
if (page) begin(page);

function begin(page) {
  const words = page.dataset;
  const part = (name) => page.querySelector(`[data-${name}]`);
  const form = part("form");
  const entries = JSON.parse(document.getElementById("start-log-entries").textContent);
  const groups = Math.max(1, ...entries.map((entry) => entry.group));
  const clock = new Clock(words.clockUrl);
  const mine = [];
  let current = entries.find((entry) => entry.number === Number(part("number")?.value));
  let lockedUntil = 0;

  const fill = (text, values) => text.replace(/\{(\w+)\}/g, (_, name) => values[name] ?? "");

  const sender = new Sender({
    ...words,
    token: page.querySelector("[name=csrfmiddlewaretoken]")?.value ?? "",
    refused(entry, sentences) {
      const why = `${entry.number ?? ""} ${sentences.join(" ")}`;
      part("refused").hidden = false;
      part("refused").textContent = fill(words.wordsRefused, { why });
    },
  });

  const send = (entry) => sender.send(entry);
  const queue = new Queue(`start-log-${words.clinic}`, send, (left, state) => {
    const net = part("net");
    const says = { "no-network": words.wordsNoNetwork, "signed-out": words.wordsSignIn };
    net.hidden = left.length === 0 && mine.length === 0;
    net.classList.toggle("waiting", left.length > 0);
    net.textContent = left.length
      ? fill(says[state] ?? words.wordsToSend, { n: left.length })
      : words.wordsAllSent;
  });

  function show(entry) {
    current = entry;
    if (!form) return;
    form.hidden = !entry;
    if (!entry) {
      part("net").hidden = false;
      part("net").textContent = words.wordsEnd;
      return;
    }
    part("number").value = entry.number;
    part("group").textContent = fill(words.wordsGroup, { n: entry.group, all: groups });
    part("ask").textContent = fill(words.wordsNext, { n: entry.number });
    part("name").textContent = entry.name;
    part("how").textContent = entry.how;
    part("agrees").hidden = !entry.agrees;
    part("not-agreed").hidden = entry.agrees;
    part("away").value = entry.agrees ? "away" : "not-filmed";
    tick();
  }

  function next() {
    const from = entries.indexOf(current);
    const after = [...entries.slice(from + 1), ...entries.slice(0, from + 1)];
    show(after.find((entry) => !entry.logged));
  }

  function tap(outcome) {
    const at = clock.now();
    const note = part("note").value.trim();
    const entry = current;
    const line = {
      what: "start",
      client_id: newRun(),
      number: entry.number,
      outcome,
      instant: at.toISOString(),
      clock_run: clock.run,
      note,
    };
    entry.logged = true;
    mine.push({ line, entry, item: list(line, entry, at) });
    part("note").value = "";
    part("undo").hidden = false;
    if (outcome === "away" || outcome === "not-filmed") {
      lockedUntil = performance.now() + 1000 * Number(words.lockedS);
    }
    queue.add(line);
    next();
  }

  function list(line, entry, at) {
    const said = { "no-show": words.wordsNoShow, "false-start": words.wordsFalseStart };
    const item = document.createElement("li");
    const text = document.createElement("span");
    const name = document.createElement("b");
    name.textContent = `${entry.number} ${entry.name}`;
    const tail = line.outcome === "not-filmed" ? ` ${words.wordsNotFilmed}` : "";
    text.append(name, ` ${said[line.outcome] ?? time(at, 1) + tail}`, line.note && ` ${line.note}`);
    item.append(text);
    part("lines").prepend(item);
    return item;
  }

  function undo() {
    const last = mine.pop();
    if (!last) return;
    queue.add({ what: "undo", client_id: last.line.client_id });
    last.entry.logged = false;
    last.item.classList.add("undone");
    last.item.append(words.wordsUndone);
    part("undo").hidden = mine.length === 0;
    lockedUntil = 0;
    show(last.entry);
  }

  function time(at, digits) {
    return at.toLocaleTimeString(document.documentElement.lang, {
      timeZone: words.zone,
      hour: "2-digit",
      minute: "2-digit",
      second: "2-digit",
      hourCycle: "h23",
      ...(digits ? { fractionalSecondDigits: digits } : {}),
    });
  }

  function tick() {
    if (!form || !current) return;
    part("now").textContent = time(clock.now(), 0);
    const left = Math.ceil((lockedUntil - performance.now()) / 1000);
    const button = part("away");
    button.disabled = left > 0;
    const away = current.agrees ? words.wordsAway : words.wordsAwayNotFilmed;
    button.textContent = left > 0 ? fill(words.wordsLocked, { n: left }) : away;
  }

  form?.addEventListener("submit", (event) => {
    event.preventDefault();
    const outcome = event.submitter?.value;
    const away = outcome === "away" || outcome === "not-filmed";
    if (!outcome || (away && performance.now() < lockedUntil)) return;
    tap(outcome);
  });
  part("undo")?.addEventListener("click", undo);
  page.addEventListener("click", (event) => {
    const link = event.target.closest("[data-choose]");
    if (!link || !form) return;
    event.preventDefault();
    show(entries.find((entry) => entry.number === Number(link.dataset.choose)));
    page.scrollIntoView();
  });
  window.addEventListener("online", () => queue.flush());
  window.setInterval(tick, 250);
  clock.measure();
  // A tap that an earlier visit kept is in the log as far as this page is concerned.
  for (const kept of [...queue.entries(), ...sender.justSent()]) {
    const entry = entries.find((one) => one.number === kept.number);
    if (entry) entry.logged = true;
  }
  if (current?.logged && !new URLSearchParams(location.search).has("number")) next();
  queue.flush();
  tick();
}
