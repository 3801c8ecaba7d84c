// What is asked for next on the frame at hand, in which order, and what was done there.

import { lastOf, nextOf } from "./order.js";

export function createAsking(room, part, { setup, store }) {
  const find = (name) => part.querySelector(name);
  const { dataset } = part;
  const done = new Map(); // "view:frame" → [{ name, passed }], in the order of doing

  const now = () => {
    const { main, frame } = room.now();
    return { view: main, frame, key: `${main}:${frame}` };
  };
  const order = () =>
    setup.sets[find("[data-body-set]").value][find("[name=body-near]:checked").value];
  const points = () => store.points(now().view, now().frame);
  const here = () => done.get(now().key) ?? [];
  const passed = () => new Set(here().filter((one) => one.passed).map((one) => one.name));
  const words = (name) => setup.names[name].words;
  const next = () => (now().frame === null ? null : nextOf(order(), points(), passed()));

  // Points in the way of what is asked: [what, where].
  function question(mode) {
    const [name, all] = [next(), order()];
    if (now().frame === null) return [dataset.noFrame, ""];
    if (mode === "move")
      return [Object.keys(points()).length ? dataset.howToMove : dataset.nothingToMove, ""];
    if (name === null) return [dataset.allSet, dataset.allSetMore];
    const what = dataset.next.replace("{point}", words(name))
      .replace("{n}", all.indexOf(name) + 1).replace("{count}", all.length);
    return [what, setup.names[name].where];
  }

  return {
    now,
    next,
    words,
    question,
    remember: (name, over = false) => done.set(now().key, [...here(), { name, passed: over }]),
    last: () => here().findLast((one) => !one.passed)?.name ?? null,
    // The last thing that was done here, which is forgotten; null: there is none.
    takeBack() {
      const last = now().frame === null ? null : lastOf(here(), order(), points());
      done.set(now().key, here().slice(0, -1));
      return last;
    },
  };
}
