// Where the body part of a mark is in the picture: a tap there, or arrows and Enter. Never
// needed: Escape goes on without a place. Marks that have one are ringed on their frames.

import { startCrossHair } from "./drawing/cross-hair.js";
import { svg } from "./drawing/ink.js";
import { fractionAt, perScreenPx } from "./drawing/place.js";

const TOOL = "mark-place";
const RING_PX = 9;
const NO_PLACE = new Set(["start-signal"]); // nothing of a body

export function startMarkPlace(room, part) {
  const find = (name) => part.querySelector(name);
  const switched = find("[data-mark-place]");
  const panel = find("[data-mark-ask]");
  const groups = new Map(room.views.map((view) => [view.key, svg("g", { "data-mark-places": "" })]));
  for (const view of room.views) view.overlay.append(groups.get(view.key));
  let asked = null; // { view, frame, answer, before }
  let marks = [];

  const box = (view) => view.overlay.getBoundingClientRect();
  const sheet = (key) => {
    const view = room.view(key);
    const { width: w, height: h } = view.overlay.viewBox.baseVal;
    return { w, h, units: perScreenPx(box(view), w, h) };
  };
  const pen = {
    preview: (view, at, cross) => { if (asked?.view === view) show(cross); },
    add: (view, at) => { if (asked?.view === view) done(at); },
  };
  const cross = switched && startCrossHair(room, { sheet }, pen, {
    tool: () => asked,
    escape: () => done(null),
    keysOn: () => document.querySelector("[data-keys-on]")?.checked ?? true,
  });

  // The rings of what is on screen, and the cross-hair where one is asked for.
  function show(...more) {
    const frames = room.now()?.frames ?? {};
    for (const [key, group] of groups) {
      const here = marks.filter((one) => one.x !== null && one.view === key && one.frame === frames[key]);
      const { w, h, units } = sheet(key);
      const rings = here.flatMap(({ x, y }) => ["casing", "ink"].map((layer) =>
        svg("circle", { cx: x * w, cy: y * h, r: RING_PX * units, class: layer })));
      const extra = asked?.view.key === key ? more : [];
      if (rings.length || extra.length || group.firstChild) group.replaceChildren(...rings, ...extra);
    }
  }

  function done(at) {
    if (!asked) return;
    const { answer, before } = asked;
    asked = null;
    panel.hidden = true;
    cross.hide();
    show();
    if (room.element.dataset.tool === TOOL) room.setTool(null);
    if (before?.isConnected) before.focus({ preventScroll: true });
    answer(at);
  }

  // [x, y] in parts of the main picture; null: goes without; undefined: left for something else.
  function ask(words) {
    done(undefined);
    return new Promise((answer) => {
      const { main, frame } = room.now();
      asked = { view: room.view(main), frame, answer, before: document.activeElement };
      room.setTool(TOOL);
      find("[data-mark-ask-what]").textContent = part.dataset.askPlace.replace("{label}", words);
      panel.hidden = false;
      panel.focus({ preventScroll: true });
      asked.view.figure.scrollIntoView({ block: "nearest" });
      cross.show();
    });
  }

  for (const view of room.views) {
    let pressed = null;
    view.overlay.addEventListener("pointerdown", (event) => {
      if (asked?.view !== view || event.button > 0 || !event.isPrimary) return;
      event.preventDefault();
      pressed = event.pointerId;
    });
    view.overlay.addEventListener("pointerup", (event) => {
      if (asked?.view !== view || event.pointerId !== pressed) return;
      pressed = null;
      const { w, h } = sheet(view.key);
      done(fractionAt(box(view), w, h, [event.clientX, event.clientY]));
    });
  }
  room.element.addEventListener("room:frame", ({ detail }) => {
    if (asked && (detail.frames[asked.view.key] !== asked.frame || detail.main !== asked.view.key)) done(undefined);
    else show();
  });
  room.element.addEventListener("room:tool", ({ detail }) => { if (detail.name !== TOOL) done(undefined); });
  const toggle = () => { switched.ariaPressed = String(switched.ariaPressed !== "true"); };
  if (switched) {
    switched.hidden = false;
    switched.addEventListener("click", toggle);
    room.addKeys({ w: toggle });
    find("[data-mark-ask-none]").addEventListener("click", () => done(null));
  }

  return {
    ask,
    wanted: (kind) => switched?.ariaPressed === "true" && !NO_PLACE.has(kind),
    ring(all) { marks = all; show(); },
  };
}
