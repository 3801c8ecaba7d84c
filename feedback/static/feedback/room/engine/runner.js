// Standing and running: jumps one after another, the newest first, and the common clock at each
// refresh of the screen.

import { middleS } from "../clock.js";
import { waitFor } from "./patience.js";
import { makeTeller } from "./teller.js";
import { beginOf, END_S, inLoop, keptLoop, makeTimeline } from "./timeline.js";

const LATE_MS = 100; // a jump that takes longer is told of as waiting
const PATIENCE_MS = 800; // and one that takes so long is given up for a newer one
const ASLEEP_MS = 500; // no refresh for so long: the page was hidden; the clock did not go on

export function makeRunner({ stage, driver, sound, onShow, onState, main }) {
  const timeline = makeTimeline();
  const teller = makeTeller({ stage, driver, onShow, onState });
  const { flags } = teller;
  let at_s = null; // the instant that was last shown
  let wanted = null;
  let target_s = null;
  let working = null;
  let giveUp = () => {};
  let began_ms = 0;
  let loop = null;
  let refresh_ms = 0;
  let raf = 0;
  let closed = false;

  const state = () => {
    const { playing, waiting } = flags;
    return { at_s, playing, waiting, rate: timeline.rate(), frames: teller.frames() };
  };

  const tellWaiting = () => teller.set({ waiting: true });

  async function show(to_s) {
    began_ms = performance.now();
    try {
      const wait = waitFor(driver.show(stage.targets(to_s, loop)), LATE_MS, tellWaiting);
      giveUp = wait.giveUp;
      await wait.done;
      at_s = to_s;
      if (!closed) teller.shown(to_s, true);
    } catch (error) {
      if (error.name !== "AbortError") throw error;
    }
  }

  async function work() {
    while (wanted !== null && !closed) {
      const to_s = wanted;
      wanted = null;
      timeline.stand(to_s);
      driver.stop(null);
      sound.follow(to_s, { runs: false });
      await show(to_s);
    }
    if (!closed) teller.set({ waiting: false });
  }

  function go(to_s) {
    wanted = target_s = to_s;
    flags.ended = false;
    if (working && performance.now() - began_ms > PATIENCE_MS) giveUp();
    working ??= work().finally(() => { working = null; });
    return working;
  }

  // Runs on, or says why not: some view lacks its frame, or all must be put in place anew.
  function advance(now_ms) {
    const from_s = timeline.at(now_ms);
    const to_s = inLoop(from_s, loop);
    const end_s = stage.reach()?.to_s;
    if (to_s >= end_s && !(loop && loop.from_s < end_s)) return finish(end_s);
    if (end_s === undefined) return teller.set({ waiting: true }); // no view is there yet
    const told = driver.tick(stage.targets(to_s, loop), {
      starting: !timeline.runs(),
      at_s: timeline.at,
      rate: timeline.rate(),
      now_ms,
    });
    if (told === "anew") return void go(to_s);
    if (told === "wait") timeline.stand(at_s ?? to_s);
    else {
      const own_s = told.at_s ?? to_s;
      if (!timeline.runs() || to_s !== from_s) timeline.run(own_s, now_ms);
      at_s = own_s;
    }
    teller.set({ waiting: told === "wait" });
    teller.shown(at_s, false);
  }

  function finish(end_s) {
    flags.playing = false;
    go(end_s - END_S).then(() => { if (!closed) teller.set({ ended: true }); });
  }

  function refresh(now_ms) {
    if (!flags.playing || closed) return;
    raf = requestAnimationFrame(refresh);
    if (timeline.runs() && now_ms - refresh_ms > ASLEEP_MS) timeline.run(at_s, now_ms);
    refresh_ms = now_ms;
    if (!working) advance(now_ms);
    sound.follow(at_s, { runs: timeline.runs() && !working, rate: timeline.rate() });
  }

  async function pause() {
    if (!flags.playing) return working;
    flags.playing = false;
    sound.follow(at_s, { runs: false });
    if (working) return working.then(() => teller.set({}));
    const { key, clock } = main();
    const frame = driver.stop(key);
    timeline.stand(at_s);
    if (driver.kind === "players") await go(frame === null ? at_s : middleS(clock, frame));
    teller.set({ waiting: false });
  }

  async function play() {
    if (flags.playing || closed) return;
    const from_s = beginOf(at_s, loop, stage.reach());
    if (from_s !== null) await go(from_s);
    else if (working) await working;
    if (flags.playing || closed) return;
    timeline.stand(at_s);
    teller.set({ playing: true, ended: false });
    cancelAnimationFrame(raf); // of a run that was paused within this refresh
    raf = requestAnimationFrame(refresh);
  }

  return {
    go,
    play,
    pause,
    state,
    // Once more, with the views that are there now.
    repaint() {
      if ((working || at_s !== null) && !flags.playing) go(working ? target_s : at_s);
    },
    settled: async () => working,
    at_s: () => (working ? target_s : at_s),
    playing: () => flags.playing,
    setRate: (rate) => timeline.setRate(rate, refresh_ms),
    setLoop(wish) { loop = keptLoop(wish); },
    close() {
      closed = true;
      flags.playing = false;
      giveUp();
    },
  };
}
