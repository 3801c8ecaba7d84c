// Moving through the swim: what is shown now, jumping, stepping, playing on into the next view.

import { middleS, swimS } from "./clock.js";
import { awayS, goesOn, neighbour, reaches } from "./follow.js";

export function createTime(room) {
  const { element } = room;
  let engine, stage, gate;
  let says = { showPlaying() {}, looped: () => false };
  let last = { at_s: 0, frames: {} };
  let state = { playing: false, waiting: false };
  let jumps = 0;
  let wishes = 0; // of the person: to be elsewhere, or to stand
  let going = false;

  // The instant of the frame on screen, where the main view has one: what is said, drawn and
  // marked is said of that frame.
  function now() {
    const main = stage.main();
    const frame = last.frames[main] ?? null;
    const clock = engine.clock(main);
    const at_s = frame === null || !clock ? last.at_s : swimS(clock, frame);
    return { at_s, main, frame, frames: last.frames, playing: state.playing };
  }
  function tell() {
    const detail = now();
    element.dataset.frame = detail.frame ?? "";
    element.dataset.at = detail.at_s.toFixed(4);
    element.dispatchEvent(new CustomEvent("room:frame", { detail }));
  }
  function shown({ at_s, frames }) {
    if (at_s === null || !stage?.main()) return;
    last = { at_s, frames };
    if (state.playing) follow();
    tell();
  }

  // While it plays, the stage goes with the swimmer; a film that may not be fetched stops it.
  function follow() {
    stage.settle(last.at_s).catch(room.trouble);
    if (!gate.allows(stage.main())) engine.pause();
    else if (goesItself() && !room.views.some((view) => reaches(view, last.at_s))) goOn();
  }
  const goesItself = () => stage.setting().follow && !says.looped();

  function told(next) {
    const ended = next.ended && !state.ended;
    state = next;
    element.dataset.playing = String(next.playing);
    element.classList.toggle("waiting", next.waiting);
    says.showPlaying(next.playing);
    if (ended && goesItself()) goOn();
  }
  // Past what nobody filmed, and into the next view when the films on stage are over.
  async function goOn() {
    const next = goesOn(room.views, last.at_s);
    if (!next || going) return;
    going = true;
    const mine = wishes;
    await room.safely(async () => {
      const brought = stage.settle(next.at_s, { main: next.key });
      await engine.seek(next.at_s);
      await brought;
      // whoever jumped, stepped or took a tool meanwhile does not want it to run off
      if (mine === wishes && gate.allows(stage.main())) await engine.play();
    });
    going = false;
  }

  async function jump({ view, frame, at_s }) {
    const mine = (jumps += 1);
    wishes += 1;
    if (state.playing) await engine.pause();
    if (view === undefined) {
      const brought = stage.settle(at_s);
      await engine.seek(at_s);
      return void (await brought);
    }
    const clock = await engine.load(view);
    if (mine !== jumps) return;
    const brought = stage.settle(middleS(clock, frame), { main: view });
    await engine.showFrame(view, frame);
    await brought;
  }

  // A view at the same instant if it has the swimmer then, else when it does.
  const choose = (key) => room.safely(async () => {
    const view = room.view(key);
    const here = last.at_s;
    const there = reaches(view, here) && awayS(view, here) === 0;
    jumps += 1;
    wishes += 1;
    if (state.playing) await engine.pause();
    const at_s = there ? here : Math.max(view.seen_from_s, view.from_s);
    const brought = stage.settle(at_s, { main: key });
    if (!there) await engine.seek(at_s);
    await brought;
  });
  const show = (key) => stage.settle(last.at_s, { main: key });
  const time = {
    shown,
    state: told,
    start(...parts) { [engine, stage, gate] = parts; },
    during(what) { says = what; },
    choose,
    jump,
    step(by) {
      wishes += 1;
      return room.safely(() => engine.step(by));
    },
    toggle: () => room.safely(async () => {
      wishes += 1;
      if (state.playing) return engine.pause();
      if (gate.allows(stage.main())) await engine.play();
    }),
    neighbour: (by) => room.safely(() => show(neighbour(room.views, last.at_s, stage.main(), by))),
  };
  Object.assign(room, {
    now,
    tell,
    show,
    shown: () => stage.shown(),
    jump: (where) => room.safely(() => jump(where)),
    pause() {
      wishes += 1;
      return engine.pause();
    },
  });
  return time;
}
