// The engine of the room: all shown views stand and run by one clock.
//
// Two drivers do the showing (frames.js, players.js); this module decides which instant.
// Newer jumps supersede older ones; steps add up; whoever pauses stands on what is shown.

import { beginS, endS, frameAt, frameOf, middleS } from "../clock.js";
import { chooseKind, driverOf } from "./choose.js";
import { makeFilms } from "./films.js";
import { makeRunner } from "./runner.js";
import { makeSound } from "./sound.js";
import { makeStage } from "./stage-views.js";

const nothing = () => {};

export async function openEngine(list, options = {}) {
  const { onShow = nothing, onState = nothing, onTrouble = nothing, onFetch = nothing } = options;
  const kind = await chooseKind(options.kind);
  const views = new Map(list.map((view) => [view.key, { ...view, clock: null }]));
  const films = makeFilms([...views.values()], onFetch);
  const stage = makeStage(views, films, {
    onTrouble,
    onArrived: () => runner.repaint(),
  });
  const driver = await driverOf(kind, { onTrouble: stage.trouble });
  const sound = makeSound((error) => onTrouble(main, error));
  const runner = makeRunner({ stage, driver, sound, onShow, onState, main: () => views.get(main) });
  let main = list[0]?.key ?? null;
  let aim = null; // frame of the main view that steps in a row have come to
  stage.use(driver);
  sound.of(views.get(main));

  // Views that are still being opened are waited for, and painted as they come.
  async function go(at_s) {
    aim = null;
    await runner.go(at_s);
    await stage.ready();
    await runner.settled();
  }

  async function showFrame(key, frame) {
    const clock = await films.load(key);
    return go(middleS(clock, frame));
  }

  async function step(n) {
    if (runner.playing()) await runner.pause();
    const { clock } = views.get(main);
    const at_s = runner.at_s();
    if (!clock || at_s === null) return;
    const here = frameOf(clock, at_s);
    const beyond = at_s < beginS(clock) ? -1 : clock.ticks.length;
    const to = (aim ?? here ?? beyond) + n;
    const kept = Math.min(clock.ticks.length - 1, Math.max(0, to));
    if (here === null && aim === null && (beyond < 0) === (n < 0)) return;
    if (kept === (aim ?? here)) return;
    aim = kept;
    await runner.go(middleS(clock, kept));
    if (aim === kept) aim = null;
  }

  return {
    kind,
    load: films.load,
    clock: films.clock,
    bytes: (key) => films.bytes(key, stage.height_px()),
    fetched: films.share,
    // The film of a view that will be shown soon; if it does not come, it is asked for again then.
    fetchAhead(key) {
      films.ahead(key, stage.height_px()).catch(() => {
        if (!stage.shown().includes(key)) films.forget(key);
      });
    },
    async setShown(keys, { height_px = 540 } = {}) {
      await stage.set(keys, height_px);
      runner.repaint();
      await runner.settled();
    },
    setMain(key) {
      main = key;
      aim = null;
      sound.of(views.get(key));
    },
    seek: go,
    showFrame,
    step,
    async play() {
      aim = null;
      await runner.play();
    },
    pause: runner.pause,
    setRate: runner.setRate,
    setLoop: runner.setLoop,
    setSound: sound.setOn,
    state: runner.state,
    // For a loop or a jump that is announced: which frame a view shows at an instant.
    frameAt: (key, at_s) => (films.clock(key) ? frameAt(films.clock(key), at_s) : null),
    endS: (key) => (films.clock(key) ? endS(films.clock(key)) : null),
    close() {
      runner.close();
      sound.close();
      driver.close();
      films.close();
    },
  };
}
