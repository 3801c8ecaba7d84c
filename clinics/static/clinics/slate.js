// The slate on a phone: the server's clock as a code that changes, and as a tone.

import { ServerClock } from "./slate-clock.js";
import { Codes, drawCode, fitCanvas } from "./slate-codes.js";
import { Tone } from "./slate-tone.js";
import { aboutClock, wallClock } from "./slate-words.js";

const MEASURE_EVERY_MS = 60000;
const AGAIN_MS = 5000;

const page = document.querySelector("[data-slate]");
if (page) begin(page);

function begin(page) {
  const words = page.dataset;
  const part = (name) => page.querySelector(`[data-${name}]`);
  const canvas = part("code");
  const periodMs = Number(words.periodMs);
  const clock = new ServerClock(words.timeUrl);
  const codes = new Codes(words);
  const tone = new Tone(JSON.parse(document.getElementById("slate-tone").textContent), clock);
  let running = false;
  let shown = "";
  let refreshMs = 1000 / 60;
  let lastFrame = 0;
  let wakeLock = null;
  let timer = 0;
  let measuring = false;
  let again = false; // asked for while one was under way
  let px = 1;
  const tenths = wallClock(words.zone, 1);

  function tell() {
    const measured = part("measured");
    const text = aboutClock(clock, words, measuring);
    if (measured.textContent !== text) measured.textContent = text;
    measured.classList.toggle("refused", !clock.isKnown() && text !== words.wordsMeasuring);
    part("start").disabled = !clock.isKnown();
  }

  async function measure() {
    window.clearTimeout(timer);
    if (measuring) return void (again = true);
    measuring = true;
    tell();
    do {
      again = false;
      await clock.measure();
    } while (again);
    measuring = false;
    timer = window.setTimeout(measure, clock.state === "measured" ? MEASURE_EVERY_MS : AGAIN_MS);
    tell();
  }

  // What is drawn now gives light about one and a half refreshes later: the code is the one that
  // is due then, changed in the refresh that is nearest to its instant.
  function frame(at) {
    if (!running) return;
    if (lastFrame) refreshMs += 0.05 * (Math.min(Math.max(at - lastFrame, 4), 40) - refreshMs);
    lastFrame = at;
    const lightMs = clock.at(at + 1.5 * refreshMs);
    const index = Math.floor((lightMs + refreshMs / 2) / periodMs);
    const uMs = clock.uMs();
    const known = clock.isKnown();
    if (known) codes.want(index, uMs, tone.uMs());
    const hex = known ? codes.get(index, uMs, tone.uMs()) : null;
    const now = known ? tenths(lightMs) : "";
    if (`${hex}` !== shown) {
      shown = `${hex}`;
      drawCode(canvas, hex, codes.side, px);
    }
    if (part("now").textContent !== now) part("now").textContent = now;
    window.requestAnimationFrame(frame);
  }

  // As large as the screen allows: what stands below the code stays in sight.
  function fit() {
    const below = [part("now").parentNode, part("measured"), part("stop").parentNode];
    const belowPx = below.reduce((sum, one) => sum + one.offsetHeight, 40);
    const room = Math.min(window.innerWidth, Math.max(window.innerHeight - belowPx, 240));
    px = fitCanvas(canvas, codes.side, room);
    shown = "";
  }

  async function stayAwake() {
    try {
      wakeLock = await navigator.wakeLock?.request("screen");
    } catch {
      wakeLock = null; // low battery, or no secure address: the screen may go dark by itself
    }
    if (!running) letSleep(); // stopped meanwhile
  }
  function letSleep() {
    wakeLock?.release();
    wakeLock = null;
  }

  function show(on) {
    running = on;
    shown = "";
    lastFrame = 0;
    document.body.classList.toggle("slate-on", on);
    for (const name of ["screen", "stop", "tone"]) part(name).hidden = !on;
    part("start").hidden = on;
    if (on) {
      tone.start();
      stayAwake();
      window.scrollTo(0, 0);
      fit();
      window.requestAnimationFrame(frame);
      part("stop").focus();
    } else {
      tone.stop();
      letSleep();
      part("start").focus();
    }
  }

  part("start").addEventListener("click", () => show(true));
  part("stop").addEventListener("click", () => show(false));
  part("tone").addEventListener("click", () => {
    tone.on = !tone.on;
    if (tone.on) tone.start();
    else tone.stop();
    part("tone").setAttribute("aria-pressed", String(tone.on));
    part("tone").textContent = tone.on ? words.wordsToneOn : words.wordsToneOff;
  });
  document.addEventListener("visibilitychange", () => {
    clock.forget(); // on the way out and on the way back: it may have slept in between
    if (document.hidden) return;
    measure();
    if (running) stayAwake();
  });
  window.addEventListener("online", measure);
  window.addEventListener("resize", () => running && fit());
  window.setInterval(() => {
    if (running) tone.schedule();
    tell();
  }, 250);
  measure();
}
