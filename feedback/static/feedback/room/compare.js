// Two swims in step: one engine shows a view of each, with all times counted from the common
// mark, so that 0 s is the same event in both.

import { createCompareRoom } from "./compare-room.js";
import { createSides } from "./compare-sides.js";
import { openEngine } from "./engine/engine.js";
import { startFull } from "./full.js";
import { startHands, startJogStrip } from "./hands.js";
import { startKeys } from "./keys.js";
import { startLight } from "./light.js";
import { startLooping } from "./looping.js";
import { startMore } from "./more.js";
import { savesData } from "./saving.js";
import { secondsFormat } from "./seconds.js";
import { startTransport } from "./transport.js";
import { startZooming } from "./zooming.js";

const SAVING = "sidelane-room-save-data"; // as chosen in the room

async function startCompare(root) {
  const find = (name) => root.querySelector(name);
  const button = (name) => find(`[data-do="${name}"]`);
  const data = JSON.parse(document.getElementById("compare-data").textContent);
  const sides = createSides(root, data);
  const strip = find("[data-lane-strip]");
  const help = find("[data-help]");

  const room = createCompareRoom(root, sides, startKeys(help));
  let transport = null;

  const engine = await openEngine(sides.views, {
    onShow({ at_s, frames }) {
      room.shown(at_s, frames);
      sides.paint(at_s, frames, engine.clock);
      const text = sides.since(at_s);
      find("[data-since-shown]").textContent = text;
      strip.dispatchEvent(new CustomEvent("lane-strip:show", { detail: { at_s, text } }));
    },
    onState({ playing, waiting }) {
      transport?.showPlaying(playing);
      root.dataset.playing = String(playing);
      root.toggleAttribute("data-waiting", waiting);
    },
    onTrouble: room.trouble,
  });
  room.start(engine);
  root.dataset.engine = engine.kind;
  find("[data-players]").hidden = engine.kind !== "players";

  // The smallest films where data costs something, else those that fit the pictures.
  const saving = savesData({
    asked: localStorage.getItem(SAVING), connection: navigator.connection,
    narrow: matchMedia("(max-width: 640px)").matches,
  });
  const zooming = startZooming(room, { onLarger: () => room.safely(bring) });
  const height_px = () => (saving ? 0
    : find("[data-pictures]").clientHeight * Math.min(window.devicePixelRatio, 2)
      * Math.max(...sides.shown().map(zooming.scale)));
  const bring = () => engine.setShown(sides.shown(), { height_px: height_px() });
  function useMain() {
    const main = sides.main().shown;
    engine.setMain(main);
    find("[data-of-main]").textContent = root.dataset.wordsMain.replace("{name}", room.view(main).name);
    root.dispatchEvent(new CustomEvent("room:stage", { detail: { main } }));
  }
  async function stage() {
    find("[data-trouble]").hidden = true;
    useMain();
    await bring();
  }
  const choose = (n, key) => { sides.choose(n, key); return stage(); };
  const setMain = (n) => { sides.setMain(n); useMain(); };
  const nextPair = (by) => {
    const pair = data.pairs.length ? sides.nextPair(by) : null;
    if (pair) choose(0, pair[0]);
  };
  const toggle = () => (engine.state().playing ? engine.pause() : engine.play());
  const toMark = async () => { await engine.pause(); await engine.seek(0); };

  for (const side of sides.all) {
    side.choice.addEventListener("change", () => choose(side.n, side.choice.value));
    side.steps.addEventListener("click", () => setMain(side.n));
  }
  // Who drags a picture, or turns the wheel over it, steps that swim's frames.
  const stepOn = (by, key) => { setMain(sides.of(key).n); engine.step(by); };
  startHands(room, zooming, { tap: toggle, swipe: nextPair, step: stepOn });
  startJogStrip(room, { step: engine.step });
  startLight(room);
  const seconds = secondsFormat();
  startLooping(room, engine, (at_s) => seconds.format(at_s));
  startFull(room);
  startMore(room);
  strip.addEventListener("lane-strip:move", ({ detail }) => engine.seek(detail.at_s));
  strip.addEventListener("lane-strip:step", (event) => {
    event.preventDefault();
    engine.step(event.detail.steps);
  });
  button("mark").addEventListener("click", toMark);
  button("help").addEventListener("click", () => help.showModal());
  transport = startTransport(room, engine, { toggle, step: engine.step });
  room.addKeys({
    1: () => setMain(0),
    2: () => setMain(1),
    m: toMark,
    n: () => nextPair(1),
    p: () => nextPair(-1),
    "?": () => help.showModal(),
  });
  find("[data-keys]").hidden = false;

  await stage();
  await engine.seek(0);
  root.dataset.ready = "true";
}

const root = document.querySelector("[data-compare]");
if (root) startCompare(root);
