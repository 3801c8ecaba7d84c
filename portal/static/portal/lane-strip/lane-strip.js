// A lane strip that is moved: by pointer, by touch, by keyboard.
//
// Started on every [data-lane-strip]. It knows nothing of pictures. It sends, from the strip:
//   lane-strip:move  detail {at_s}   the person chose an instant
//   lane-strip:pin   detail {key}    the person chose a pin
//   lane-strip:flag  detail {key}    the person chose a flag
//   lane-strip:step  detail {steps}  arrow keys; if cancelled, the page steps itself (frames)
// and listens there for
//   lane-strip:show  detail {at_s, text}   the present instant, and how to say it
//   lane-strip:pins  detail [{at_s, until_s?, key, name?}]  the pins from now on
//   lane-strip:flags detail [{at_s, key, name}]  the flags from now on
//   lane-strip:loop  detail {from_s, to_s} | null  what is played again and again

import { chosenAt, drawFlag, drawLoop, drawPin } from "./marks.js";
import { startWords } from "./words.js";

const STEP_S = 0.1;
const PAGE_S = 1;

export function start(strip) {
  const slider = strip.querySelector("[role=slider]");
  const cap = strip.querySelectorAll("[data-cap]"); // its wake, kept within the water, and itself
  const seconds = new Intl.NumberFormat(document.documentElement.lang, {
    minimumFractionDigits: 2,
    maximumFractionDigits: 2,
  });
  const ends = () => [Number(slider.ariaValueMin), Number(slider.ariaValueMax)];
  const now = () => Number(slider.ariaValueNow);
  const send = (name, detail) =>
    strip.dispatchEvent(new CustomEvent(name, { detail, bubbles: true, cancelable: true }));

  const show = (at_s, text) => {
    const [begin, end] = ends();
    const kept = Math.min(end, Math.max(begin, at_s));
    const x = `${(100 * (kept - begin)) / (end - begin)}%`;
    cap.forEach((part) => part.setAttribute("x", x));
    slider.ariaValueNow = kept.toFixed(3);
    slider.ariaValueText = text ?? `${seconds.format(kept)} s`;
  };
  const move = (at_s) => {
    const [begin, end] = ends();
    const kept = Math.min(end, Math.max(begin, at_s));
    show(kept);
    send("lane-strip:move", { at_s: kept });
  };

  strip.addEventListener("lane-strip:show", (event) => show(event.detail.at_s, event.detail.text));
  const percent = (at_s) => {
    const [begin, end] = ends();
    return Math.min(100, Math.max(0, (100 * (at_s - begin)) / (end - begin)));
  };
  // What is drawn lies under the cap.
  const redraw = (old, drawn) => {
    slider.querySelectorAll(old).forEach((part) => part.remove());
    cap[cap.length - 1].before(...drawn);
  };
  strip.addEventListener("lane-strip:pins", ({ detail }) =>
    redraw("[data-pin]", detail.map((pin) => drawPin(pin, percent))));
  strip.addEventListener("lane-strip:flags", ({ detail }) =>
    redraw("[data-flag]", detail.map((flag) => drawFlag(flag, percent))));
  strip.addEventListener("lane-strip:loop", ({ detail }) =>
    redraw("[data-loop]", detail ? drawLoop(detail, percent) : []));
  slider.addEventListener("pointerdown", (event) => {
    if (event.button > 0) return;
    const chosen = chosenAt(slider, event);
    if (chosen) return void send(`lane-strip:${chosen.kind}`, { key: chosen.key });
    slider.setPointerCapture(event.pointerId);
    move(instantAt(slider, event, ends()));
  });
  slider.addEventListener("pointermove", (event) => {
    if (slider.hasPointerCapture(event.pointerId)) move(instantAt(slider, event, ends()));
  });
  slider.addEventListener("keydown", (event) => {
    if (event.altKey || event.ctrlKey || event.metaKey) return;
    const [begin, end] = ends();
    const steps = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1 }[event.key];
    const target = {
      PageDown: now() - PAGE_S, PageUp: now() + PAGE_S, Home: begin, End: end,
    }[event.key];
    if (steps === undefined && target === undefined) return;
    event.preventDefault();
    event.stopPropagation();
    if (target !== undefined) move(target);
    else if (send("lane-strip:step", { steps: event.shiftKey ? 10 * steps : steps }))
      move(now() + steps * STEP_S);
  });
  startWords(strip, slider, { move, send });
}

function instantAt(slider, event, [begin, end]) {
  const box = slider.getBoundingClientRect();
  return begin + ((end - begin) * (event.clientX - box.left)) / box.width;
}

document.querySelectorAll("[data-lane-strip]").forEach(start);
