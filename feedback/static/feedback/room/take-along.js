// Stills and films to take along: fills the form with the frame on screen, the views on stage,
// and the span (the loop, a phase, the whole view, or from here to there). The server is told
// views and frames, never times.

import { frameAt, makeClock, swimS } from "./clock.js";
import { secondsFormat } from "./seconds.js";

export function startTakeAlong(room) {
  const part = document.querySelector("[data-take-along-part]");
  const form = part?.querySelector("[data-take-along-form]");
  if (!form) return;
  const { dataset } = part;
  const find = (name) => part.querySelector(name);
  const choice = find("[data-span-of]");
  const strip = room.element.querySelector("[data-lane-strip]");
  const seconds = secondsFormat();
  const fields = form.elements;
  const clocks = new Map(); // promises, by view
  let loop = null;
  let own = { from_s: null, to_s: null }; // begun and ended here
  let filled = null; // the view whose frames the span has

  // Only the list of frames, not the film.
  async function fetchClock(view) {
    const answer = await fetch(view.renditions.at(-1).frames, { credentials: "same-origin" });
    if (!answer.ok) throw new Error(`${answer.status}`);
    const { pts } = await answer.json();
    return makeClock({ ...view, ticks: pts });
  }
  function clockOf(key) {
    if (!clocks.has(key)) {
      const loading = fetchClock(room.view(key));
      loading.catch(() => clocks.delete(key));
      clocks.set(key, loading);
    }
    return clocks.get(key);
  }

  // Swim times that the choice means; null: the whole view.
  function chosen() {
    if (choice.value === "loop") return loop;
    if (choice.value === "own") return own;
    const phase = room.data.phases?.[Number(choice.value.slice("phase".length))];
    return choice.value.startsWith("phase") ? phase : null;
  }
  function offer(value, words) {
    let option = [...choice.options].find((one) => one.value === value);
    if (!option) choice.append((option = new Option(words, value)));
    choice.value = value;
  }

  // Frames of the main view from and to which the span goes.
  async function span(main) {
    const clock = await clockOf(main);
    const last = clock.ticks.length - 1;
    const { from_s = null, to_s = null } = chosen() ?? {};
    const from = from_s === null ? 0 : frameAt(clock, from_s);
    let to = to_s === null ? last : frameAt(clock, to_s);
    // A loop ends with the end of a frame, which is where the next one begins.
    if (choice.value === "loop" && to_s !== null && to > from && swimS(clock, to) >= to_s - 1e-4) to -= 1;
    return { clock, from, to };
  }

  function ready(is) {
    for (const kind of ["row", "film"]) form.querySelector(`[value="${kind}"]`).disabled = !is;
  }

  async function fill() {
    if (!part.open) return;
    const { main, frame, at_s } = room.now();
    const view = room.view(main);
    fields.clip.value = main;
    fields.frame.value = frame ?? "";
    form.querySelector('[value="still"]').disabled = frame === null;
    find("[data-still-of]").textContent = frame === null ? dataset.noFrame
      : dataset.here.replace("{view}", view.name).replace("{at}", seconds.format(at_s));
    if (filled !== main) ready(false); // the frames of another view are not sent for those of this one
    const { clock, from, to } = await span(main);
    if (room.now().main !== main) return; // filled anew by what changed it
    filled = main;
    ready(true);
    fields.from_frame.value = from;
    fields.to_frame.value = to;
    find("[data-span-shown]").textContent = `${view.name}, ${dataset.span}`
      .replace("{from}", seconds.format(swimS(clock, from))).replace("{to}", seconds.format(swimS(clock, to)));
    find("[data-clips]").replaceChildren(...room.shown().map((key) => {
      const input = document.createElement("input");
      Object.assign(input, { type: "hidden", name: "clips", value: key });
      return input;
    }));
  }
  const fillSafely = () => fill().catch(room.trouble);

  async function here(end) {
    const { main, frame } = room.now();
    if (frame === null) return;
    const clock = await clockOf(main);
    own = { ...own, [end]: swimS(clock, frame) };
    if (own.from_s !== null && own.to_s !== null && own.from_s >= own.to_s)
      own = { from_s: null, to_s: null, [end]: own[end] };
    offer("own", dataset.own);
    await fill();
  }

  (room.data.phases ?? []).forEach((phase, n) => choice.add(new Option(phase.name, `phase${n}`)));
  for (const name of [".span-of", ".set"]) find(name).hidden = false;
  strip?.addEventListener("lane-strip:loop", (event) => {
    const { from_s = null, to_s = null } = event.detail ?? {};
    loop = from_s !== null && to_s !== null ? { from_s, to_s } : null;
    if (loop) offer("loop", dataset.looped);
    else [...choice.options].find((one) => one.value === "loop")?.remove();
    fillSafely();
  });
  find("[data-begin-here]").addEventListener("click", () => here("from_s").catch(room.trouble));
  find("[data-end-here]").addEventListener("click", () => here("to_s").catch(room.trouble));
  choice.addEventListener("change", fillSafely);
  part.addEventListener("toggle", fillSafely);
  room.element.addEventListener("room:frame", fillSafely);
  room.element.addEventListener("room:stage", fillSafely);
  fillSafely();
}
