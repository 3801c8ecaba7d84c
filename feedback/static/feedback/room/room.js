// The page of a swim: views in step, the stage, the strip, keys and hands; and the object that
// comments, drawings, marks and take-along work with.

import { startBody } from "./body/body.js";
import { startComments } from "./comments.js";
import { startDrawing } from "./drawing/drawing.js";
import { openEngine } from "./engine/engine.js";
import { makeGate, startFetching } from "./fetching.js";
import { startFull } from "./full.js";
import { startHands, startJogStrip } from "./hands.js";
import { startJumpList } from "./jump-list.js";
import { startKeys } from "./keys.js";
import { startLight } from "./light.js";
import { startLooping } from "./looping.js";
import { startMarks } from "./marks.js";
import { startMeasures } from "./measures.js";
import { startMore } from "./more.js";
import { startPlane } from "./plane/plane.js";
import { startPlaces } from "./places.js";
import { startRateRead } from "./rate-read/rate-read.js";
import { createRoom } from "./room-object.js";
import { createStage } from "./stage.js";
import { startStandRow } from "./stand-row.js";
import { startTakeAlong } from "./take-along.js";
import { createTime } from "./time.js";
import { startTransport } from "./transport.js";
import { startViewWords } from "./view-words.js";
import { startZooming } from "./zooming.js";

const PARTS = [
  startMarks, startMeasures, startComments, startDrawing, startPlane, startBody, startRateRead,
  startTakeAlong,
];

export async function startRoom(element) {
  const find = (name) => element.querySelector(name);
  const help = document.querySelector("[data-help]");
  const strip = find("[data-lane-strip]");
  const room = createRoom(element, startKeys(help));
  const { opening } = room.data;
  const gate = makeGate(room.views, opening.view);
  const time = createTime(room);
  const engine = await openEngine(room.views, {
    onShow: time.shown,
    onState: time.state,
    onTrouble: (key, error) => room.trouble(error),
  });
  const stage = createStage(room, engine, gate);
  time.start(engine, stage, gate);
  element.dataset.engine = engine.kind;
  find("[data-players]").hidden = engine.kind !== "players";

  const { seconds } = startViewWords(room, engine, gate);
  const transport = startTransport(room, engine, time);
  const looping = startLooping(room, engine, seconds);
  const zooming = startZooming(room, { onLarger: () => room.safely(stage.bring) });
  stage.magnifyBy(() => Math.max(...stage.shown().map(zooming.scale)));
  time.during({ showPlaying: transport.showPlaying, looped: looping.on });
  startHands(room, zooming, { tap: time.toggle, swipe: time.neighbour, step: time.step });
  startJogStrip(room, time);
  startLight(room);
  startPlaces(room, stage);
  startFetching(room, stage, gate, time);
  startStandRow(room, time);
  startFull(room);
  const jumps = startJumpList(room, seconds);
  startMore(room);

  const follow = find('[data-do="follow"]');
  const toggleFollow = () => room.safely(() =>
    stage.settle(room.now().at_s, { follow: !stage.setting().follow }));
  follow.addEventListener("click", toggleFollow);
  element.addEventListener("room:stage", (event) => {
    follow.ariaPressed = String(event.detail.follow);
  });
  element.addEventListener("room:frame", ({ detail: { at_s, main } }) => {
    const text = `${seconds(at_s)} s`;
    const { name, sure } = room.view(main);
    find("[data-instant]").textContent = `${text}, ${sure}`;
    strip.dispatchEvent(new CustomEvent("lane-strip:show", { detail: { at_s, text: `${text}, ${name}` } }));
  });
  strip.addEventListener("lane-strip:move", ({ detail }) => room.jump({ at_s: detail.at_s }));
  strip.addEventListener("lane-strip:step", (event) => {
    event.preventDefault();
    time.step(event.detail.steps);
  });
  find('[data-do="help"]').addEventListener("click", () => help.showModal());
  room.addKeys({
    f: toggleFollow,
    l: jumps.open,
    "?": () => help.showModal(),
    digit: (event) => {
      const view = room.views[Number(event.key) - 1];
      if (view) time.choose(view.key);
    },
  });
  for (const start of PARTS) start(room);
  find("[data-keys]").hidden = false;
  await room.safely(() => time.jump({ view: opening.view, frame: opening.frame }));
  element.dataset.ready = "true";
}

const element = document.querySelector("[data-room]");
if (element && document.getElementById("swim-data")) startRoom(element);
