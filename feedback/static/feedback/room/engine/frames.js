// Frames decoded by the page and drawn on canvases: every view shows what the common clock says,
// in the same refresh of the screen. If one lacks its frame, the clock waits.

import { openCanvasView } from "./canvas-view.js";
import { makeConverter } from "./converter.js";
import { makeLane } from "./lane.js";

function canvasIn(picture) {
  const video = picture.querySelector("video");
  let canvas = picture.querySelector("canvas[data-surface]");
  if (!canvas) {
    canvas = document.createElement("canvas");
    canvas.dataset.surface = "";
    if (!video) picture.prepend(canvas);
    else {
      video.replaceWith(canvas); // and whatever it was loading is given up
      video.replaceChildren();
      video.removeAttribute("src");
      video.load();
    }
  }
  return canvas;
}

// A view in trouble has told so itself, and does not keep the others from being painted.
function unlessTrouble(error) {
  if (error.name === "AbortError") throw error;
}

export function createDriver({ onTrouble }) {
  const converter = makeConverter();
  const lane = makeLane();
  const opened = new Map(); // key → canvas view
  const shown = new Map(); // key → frame | null
  let painted = false; // since it was last asked
  let turn = 0; // a jump that was given up for a newer one must not paint

  const clear = (canvas) => { canvas.width = canvas.width; };

  function paint(targets) {
    for (const { view, frame } of targets) {
      if (shown.get(view.key) === frame) continue;
      const canvas = canvasIn(view.picture);
      if (frame === null) clear(canvas);
      else opened.get(view.key).paint(frame);
      canvas.toggleAttribute("data-out", frame === null);
      shown.set(view.key, frame);
      painted = true;
    }
    for (const { view, frame } of targets)
      if (frame !== null) opened.get(view.key)?.convertAhead();
  }

  const aim = ({ view, near, loopFrame }, hurry) =>
    opened.get(view.key)?.aim(near, loopFrame, hurry);

  return {
    kind: "frames",
    shown,
    // A larger film of a view takes the place of the smaller one once it can be shown.
    async attach(view, film) {
      const canvas = canvasIn(view.picture);
      const made = await openCanvasView(canvas, {
        clock: view.clock,
        film,
        converter,
        lane,
        onTrouble: (error) => onTrouble(view.key, error),
      });
      opened.get(view.key)?.close();
      opened.set(view.key, made);
      shown.delete(view.key);
    },
    detach(view) {
      opened.get(view.key)?.close();
      opened.delete(view.key);
      shown.delete(view.key);
      Object.assign(canvasIn(view.picture), { width: 0, height: 0 });
    },
    async show(targets) {
      const mine = (turn += 1);
      // first what is asked for, in all views; then what lies around it
      const lacks = targets.filter(({ view, frame }) =>
        frame !== null && !opened.get(view.key)?.has(frame));
      if (lacks.length) targets.forEach((target) => aim(target, true));
      await Promise.all(targets.map(({ view, frame }) =>
        frame !== null && opened.get(view.key)?.wait(frame).catch(unlessTrouble)));
      if (mine !== turn) throw new DOMException("a newer jump", "AbortError");
      paint(targets.filter(({ view, frame }) =>
        frame === null ? opened.has(view.key) : opened.get(view.key)?.has(frame)));
      targets.forEach((target) => aim(target, false));
    },
    // "on": painted; "wait": some view lacks its frame, or is not ready to begin.
    tick(targets, { starting }) {
      turn += 1;
      targets.forEach((target) => aim(target, false));
      const lacks = ({ view, frame }) => {
        const own = opened.get(view.key);
        if (frame === null) return false;
        return !own || !(starting ? own.buffered(frame) : own.has(frame));
      };
      if (targets.some(lacks)) return "wait";
      paint(targets);
      return "on";
    },
    stop: () => null, // it stands where the clock was when it last painted
    changed() {
      const was = painted;
      painted = false;
      return was;
    },
    close() {
      for (const view of opened.values()) view.close();
      opened.clear();
      converter.close();
    },
  };
}
