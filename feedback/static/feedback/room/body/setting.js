// The tools in hand: setting the points of a set one after another, by hand or by keys; passing
// over what cannot be seen; taking back; moving points that stand.

import { startCrossHair } from "../drawing/cross-hair.js";
import { createAsking } from "./asking.js";
import { startHand } from "./hand.js";
import { startMoving } from "./moving.js";

const TOOLS = { set: "body-set", move: "body-move" };
const STEP = 0.0025; // of the picture's height: finer than a drawing needs
const TYPED_INTO = "input:not([type=radio]), textarea, select, [contenteditable], dialog";

export function startSetting(room, part, { setup, sheets, store }) {
  const find = (name) => part.querySelector(name);
  const { dataset } = part;
  const hint = find("[data-body-hint]");
  const buttons = [...part.querySelectorAll("[data-body-take]")];
  const asking = createAsking(room, part, { setup, store });
  const { now, next, words } = asking;
  let mode = null; // "set", "move"
  let where = ""; // the frame that the hint speaks of

  function say(what = "") {
    const [asked, place] = asking.question(mode);
    find("[data-body-done]").textContent = what;
    find("[data-body-next]").textContent = asked;
    find("[data-body-where]").textContent = place;
    find('[data-body-do="pass"]').hidden = mode !== "set" || next() === null;
    find('[data-body-do="back"]').hidden = mode !== "set";
  }

  function put({ view, frame }, name, at) {
    const points = { ...store.points(view, frame) };
    if (at) points[name] = [...at, sheets.finest(view)];
    else delete points[name];
    store.save(view, frame, points);
  }

  // What the point that was set last tells, as soon as the server has said it.
  function tell() {
    const { view, frame } = now();
    const its = (store.mine(view, frame)?.tells ?? []).filter(({ of }) => of.includes(asking.last()));
    find("[data-body-tells]").textContent = its.map((one) => one.words).join(" · ");
  }

  function set(view, at) {
    if (view.key !== now().view) return say(); // another one came to the front under the finger
    const name = next();
    if (name === null) return say();
    asking.remember(name);
    put(now(), name, at);
    say(dataset.set.replace("{point}", words(name)));
  }

  function passOver() {
    const name = next();
    if (name === null) return;
    asking.remember(name, true);
    say(dataset.passed.replace("{point}", words(name)));
  }

  function back() {
    const last = asking.takeBack();
    if (!last) return;
    if (!last.passed) put(now(), last.name, null);
    say(last.passed ? "" : dataset.takenBack.replace("{point}", words(last.name)));
  }

  // `told`: by this part, not because another one took its own tool.
  function take(wanted, { told = true } = {}) {
    mode = wanted === mode ? null : wanted;
    for (const one of buttons) one.ariaPressed = String(one.dataset.bodyTake === mode);
    if (told) room.setTool(TOOLS[mode] ?? null);
    hint.hidden = !mode;
    cross.hide();
    sheets.pending(room.now().main);
    moving.refresh();
    if (!mode) return;
    find("[data-body-box]").open = true;
    room.pause();
    room.view(room.now().main)?.figure.scrollIntoView({ block: "nearest" });
    say();
    hint.focus({ preventScroll: true });
  }

  const keysOn = () => document.querySelector("[data-keys-on]")?.checked ?? true;
  const pen = { preview: (view, _at, cross) => sheets.pending(view.key, cross), add: set };
  const cross = startCrossHair(room, sheets, pen, {
    tool: () => (mode ? {} : null), escape: () => take(mode),
    keysOn: () => mode === "set" && keysOn(), step: STEP,
  });
  const moving = startMoving(room, part, { sheets, store, words, active: () => mode === "move" });
  startHand(room, sheets, { active: () => mode === "set", set });

  const does = { pass: passOver, back, stop: () => take(mode), remove: moving.remove };
  hint.addEventListener("click", ({ target }) => {
    const what = target.closest("[data-body-do]")?.dataset.bodyDo;
    if (!what) return;
    does[what]();
    if (mode) hint.focus({ preventScroll: true });
  });
  document.addEventListener("keydown", (event) => {
    const act = { o: passOver, Backspace: back }[event.key];
    if (mode !== "set" || !act || event.altKey || event.ctrlKey || event.metaKey) return;
    if (!keysOn() || event.target.closest(TYPED_INTO) || document.querySelector("dialog[open]")) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    act();
  }, { capture: true });
  for (const one of buttons) one.addEventListener("click", () => take(one.dataset.bodyTake));
  room.addKeys({ d: () => take("set") });
  part.addEventListener("change", ({ target }) => {
    if (mode && target.matches("[data-body-set], [name=body-near]")) say();
  });
  room.element.addEventListener("room:tool", ({ detail: { name } }) => {
    if (mode && name !== TOOLS[mode]) take(mode, { told: false });
  });
  find("[data-body-row]").hidden = false;

  return {
    refresh() {
      moving.refresh();
      tell();
    },
    ask() {
      moving.refresh();
      if (mode) say();
    },
    frameChanged({ main, frame }) {
      if (!mode || where === `${main}:${frame}`) return;
      where = `${main}:${frame}`;
      say();
      tell();
      moving.forget();
      moving.refresh();
    },
  };
}
