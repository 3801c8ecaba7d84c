// Muted <video> elements steered to the common clock: for browsers that cannot decode by
// themselves. Exact while they stand; while they run, right to a frame or two.

import { openPlayerView } from "./player-view.js";
import { EVERY_MS, SLOWEST_RATE, steer } from "./steer.js";

function videoIn(picture) {
  let video = picture.querySelector("video");
  if (!video) {
    video = document.createElement("video");
    const canvas = picture.querySelector("canvas[data-surface]");
    if (canvas) canvas.replaceWith(video);
    else picture.prepend(video);
  }
  video.dataset.surface = "";
  return video;
}

export function createDriver() {
  const opened = new Map(); // key → player view
  const shown = new Map(); // key → frame | null
  let changed = false;
  let started = null; // null: standing; false: starting; true: running
  let turn = 0; // a jump that was given up for a newer one must say nothing
  let steered_ms = 0;
  let steeredRate = 1;

  const set = (view, frame) => {
    if (shown.get(view.key) === frame) return;
    shown.set(view.key, frame);
    videoIn(view.picture).toggleAttribute("data-out", frame === null);
    changed = true;
  };
  const known = (targets) => targets.filter(({ view }) => opened.has(view.key));
  const inReach = (targets) => targets.filter(({ frame }) => frame !== null);
  const player = ({ view }) => opened.get(view.key);

  // All that reach this instant start together; the clock is then set by where they are.
  function start(targets, rate) {
    started = false;
    const starting = inReach(targets).map((target) => {
      player(target).speed(rate);
      return player(target).run().catch(() => {}); // paused meanwhile
    });
    Promise.all(starting).then(() => { if (started === false) started = true; });
  }

  function follow(targets, { at_s, now_ms, rate }) {
    const due = now_ms - steered_ms >= EVERY_MS || rate !== steeredRate;
    if (due) [steered_ms, steeredRate] = [now_ms, rate];
    let anew = false;
    for (const { view, frame } of targets) {
      const own = opened.get(view.key);
      if (frame === null) {
        if (own.running()) own.pause();
        set(view, null);
      } else if (due || !own.running()) {
        const factor = steer(own.late_s(at_s(performance.now())), rate);
        if (factor === "anew") anew = true;
        else own.speed(rate * factor);
        if (!anew && !own.running() && !own.ended()) own.run().catch(() => {}); // now in reach
      }
      if (frame !== null) set(view, own.frame());
    }
    return anew ? "anew" : "on";
  }

  // Slower than any player goes: each is put on its next frame when that is due.
  function walk(targets) {
    for (const { view, frame } of targets) {
      const own = opened.get(view.key);
      if (own.running()) return "anew";
      if (frame === null) set(view, null);
      else if (!own.busy()) {
        set(view, own.frame());
        if (own.frame() !== frame) own.stand(frame);
      }
    }
    return "on";
  }

  return {
    kind: "players",
    shown,
    async attach(view, film) {
      await film.whole();
      opened.get(view.key)?.close();
      opened.delete(view.key);
      const video = videoIn(view.picture);
      const made = await openPlayerView(video, { clock: view.clock, film, onFrame() {} });
      opened.set(view.key, made);
      shown.delete(view.key);
    },
    detach(view) {
      opened.get(view.key)?.close();
      opened.delete(view.key);
      shown.delete(view.key);
    },
    async show(targets) {
      const mine = (turn += 1);
      const here = known(targets);
      await Promise.all(here.map((target) => player(target).stand(target.near)));
      if (mine !== turn) throw new DOMException("a newer jump", "AbortError");
      for (const { view, frame } of here) set(view, frame);
    },
    tick(targets, now) {
      turn += 1;
      if (known(targets).length < targets.length) return "wait";
      if (now.rate < SLOWEST_RATE) return walk(targets);
      if (now.starting) {
        if (started === null) start(targets, now.rate);
        if (started !== true) return "wait";
        const places = inReach(targets).map((target) => player(target).at_s()).sort((a, b) => a - b);
        return places.length ? { at_s: places[places.length >> 1] } : "on";
      }
      return follow(targets, now);
    },
    // Where to stand: on the frame that the main view has presented.
    stop(main) {
      started = null;
      for (const own of opened.values()) own.pause();
      return opened.get(main)?.frame() ?? null;
    },
    changed() {
      const was = changed;
      changed = false;
      return was;
    },
    close() {
      for (const view of opened.values()) view.close();
      opened.clear();
    },
  };
}
