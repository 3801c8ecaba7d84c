// The start log at the pool's edge. What is tapped is on this phone's disk before the screen says
// so, and goes to the server when there is one. Needs no network but the first time.

import { askToStay, goWhenLeft, isReady, makeReady, tidyUp } from "./offline-shell.js";
import { Store } from "./offline-store.js";
import { Acts } from "./start-log-acts.js";
import { stayAwake } from "./start-log-awake.js";
import { Clock, newId } from "./start-log-clock.js";
import { Lines } from "./start-log-lines.js";
import { Log } from "./start-log-model.js";
import { Now } from "./start-log-now.js";
import { Others } from "./start-log-others.js";
import { Phone } from "./start-log-phone.js";
import { Sync } from "./start-log-sync.js";
import { Twins } from "./start-log-twins.js";
import { Words } from "./start-log-words.js";

const MEASURE_EVERY_MS = 180_000;
const SOON_MS = 1500;
const MEASURE_AGAIN_MS = 20_000; // while there was no answer yet

const page = document.querySelector("[data-start-log]");
if (page) begin(page);

async function begin(page) {
  const { clinic, day, zone, lockedS, logUrl, clockUrl, stateUrl, syncUrl } = page.dataset;
  await tidyUp();
  const store = await Store.open(clinic);
  await store.notePhone({ key: store.phone.key ?? newId() }).catch(() => {});
  await store.note({ day, stateUrl, syncUrl }).catch(() => {});
  const words = new Words(page.querySelector("[data-words]"), zone);
  const clock = new Clock(clockUrl, { ahead: store.phone.ahead, came: keepExchanges });
  const log = new Log({ store, clock, lockedS: Number(lockedS) });
  const sync = new Sync({ store, stateUrl, syncUrl, changed: draw });
  const acts = new Acts(page, { log, clock, kept, draw });
  const now = new Now(page, { log, clock, words, acts });
  const lines = new Lines(page, { log, words, acts, kept });
  const others = new Others(page, { log, words, now, kept });
  const phone = new Phone(page, { log, clock, sync, store, words });
  new Twins(page, { clock, store, words, sent: () => sync.soon() });
  acts.begin(now);

  function draw() {
    log.refresh();
    for (const part of [now, lines, others, phone]) part.draw();
  }

  // Waits until it is on the disk, draws, and sends; what no disk took is said at once.
  async function kept(act, what, atMs) {
    try {
      await act;
    } catch {
      const item = store.items.filter((one) => one.unkept).at(-1);
      const at = atMs === undefined ? "" : `, ${words.time(atMs, "tenth")}`;
      phone.lose(what + at, item?.id);
    }
    draw();
    sync.soon();
  }

  async function keepExchanges(burst, ahead) {
    await store.notePhone({ ahead }).catch(() => {});
    for (const one of burst) await store.keep("exchange", newId(), one, one.server_ms).catch(() => {});
    phone.draw();
    sync.soon();
  }

  let measureTimer = 0;
  async function measure() {
    window.clearTimeout(measureTimer);
    const done = await clock.measure();
    measureTimer = window.setTimeout(measure, done ? MEASURE_EVERY_MS : MEASURE_AGAIN_MS);
  }

  async function lookAgain() {
    if (document.hidden) return;
    await store.reload();
    draw();
    measure();
    sync.soon();
  }

  window.addEventListener("online", lookAgain);
  document.addEventListener("visibilitychange", lookAgain);
  window.setInterval(() => now.tick(), 250);
  window.setInterval(draw, 15_000); // signs grow old, and who comes late is there
  window.addEventListener("beforeunload", (event) => { if (store.isOnNoDisk()) event.preventDefault(); });
  goWhenLeft(page.dataset.homeUrl);
  stayAwake();
  draw();
  if (await isReady(logUrl)) tellReady("ready");
  const asked = Number(new URLSearchParams(location.search).get("number"));
  const known = log.swimmer(asked);
  if (known) now.choose(known);
  // A network that answers nothing is not waited for; then the worker may take its time.
  await Promise.race([sync.round(), new Promise((go) => window.setTimeout(go, SOON_MS))]);
  if (!known && !now.chosen && !now.seen && log.swimmer(asked)) now.choose(log.swimmer(asked));
  await measure();
  tellReady(await makeReady(page.dataset.workerUrl, logUrl));
  askToStay();

  function tellReady(state) {
    phone.ready = page.dataset.ready = state;
    phone.draw();
  }
}
