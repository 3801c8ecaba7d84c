// Which views are painted: their films are brought and their surfaces opened; a view that fails
// is left out and told, and the others go on.

import { beginS, endS, frameAt, frameOf } from "../clock.js";

export function makeStage(views, films, { onTrouble, onArrived }) {
  const attached = new Map(); // key → { film, done }: what its surface shows, once done
  let shown = [];
  let height_px = 540;
  let driver = null;
  let bringing = Promise.resolve();
  const troubled = new Set();

  function trouble(key, error) {
    if (error?.name === "AbortError") return;
    troubled.add(key);
    if (attached.delete(key)) driver.detach(views.get(key));
    films.forget(key);
    onTrouble(key, error);
  }

  async function open(key, film) {
    const view = views.get(key);
    await driver.attach(view, film);
    const current = attached.get(key)?.film;
    if (current === film) films.settle(key);
    else if (!current) driver.detach(view); // it left the stage meanwhile
    if (current === film) onArrived();
  }

  async function bring(key) {
    try {
      await films.load(key);
      if (!shown.includes(key)) return;
      const film = films.take(key, height_px);
      if (attached.get(key)?.film !== film) attached.set(key, { film, done: open(key, film) });
      await attached.get(key).done;
    } catch (error) {
      if (shown.includes(key)) trouble(key, error);
    }
  }

  const present = () => shown.filter((key) => !troubled.has(key) && views.get(key).clock);

  return {
    trouble,
    use(to) { driver = to; },
    height_px: () => height_px,
    shown: () => shown,
    ready: () => bringing,
    async set(keys, height) {
      const before = shown;
      [shown, height_px] = [[...keys], height];
      troubled.clear();
      for (const key of before)
        if (!shown.includes(key) && attached.delete(key)) driver.detach(views.get(key));
      films.keep(shown);
      bringing = Promise.all(shown.map(bring));
      await bringing;
    },
    // What each view is to show at an instant: { view, frame | null, near, loopFrame }.
    targets: (at_s, loop) => present().map((key) => {
      const view = views.get(key);
      return {
        view,
        frame: frameOf(view.clock, at_s),
        near: frameAt(view.clock, at_s),
        loopFrame: loop ? frameAt(view.clock, loop.from_s) : null,
      };
    }),
    // From where to where there is anything to see.
    reach() {
      const clocks = present().map((key) => views.get(key).clock);
      if (!clocks.length) return null;
      return { from_s: Math.min(...clocks.map(beginS)), to_s: Math.max(...clocks.map(endS)) };
    },
  };
}
