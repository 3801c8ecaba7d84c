// The two pictures of a comparison: which view of each swim is on stage, what time it is in that
// swim, how sure, and whose frames are stepped.

import { swimS } from "./clock.js";
import { secondsFormat } from "./seconds.js";

export function createSides(root, data) {
  const seconds = secondsFormat();
  const sides = data.sides.map((side, n) => {
    const element = root.querySelector(`[data-side="${n}"]`);
    const figures = new Map([...element.querySelectorAll("[data-one]")]
      .map((figure) => [figure.dataset.one, figure]));
    return {
      ...side, n, element, figures, shown: data.shown[n], whose: element.dataset.whose,
      choice: element.querySelector("[data-view-of]"),
      steps: element.querySelector("[data-steps]"),
      time: element.querySelector("[data-time]"),
      notHere: element.querySelector("[data-not-here]"),
    };
  });
  let main = 0;

  function show(side, key) {
    side.shown = key;
    side.choice.value = key;
    for (const [own, figure] of side.figures) figure.hidden = own !== key;
    for (const state of side.element.querySelectorAll("[data-sure]"))
      state.hidden = state.dataset.sure !== key;
    for (const bar of root.querySelectorAll(".bar")) {
      const chosen = sides.some((one) => one.shown === bar.dataset.key);
      bar.classList.toggle("chosen", chosen);
    }
  }

  function setMain(n) {
    main = n;
    for (const side of sides) side.steps.ariaPressed = String(side.n === n);
  }

  for (const side of sides) {
    show(side, side.shown);
    side.steps.hidden = false;
  }
  for (const plain of root.querySelectorAll("[data-plain]")) plain.remove();

  return {
    all: sides,
    views: sides.flatMap((side) => side.views.map((view) => {
      const figure = side.figures.get(view.key);
      const picture = figure.querySelector("[data-picture]");
      return { ...view, name: `${view.name}, ${side.whose}`, figure, picture };
    })),
    of: (key) => sides.find((side) => side.figures.has(key)),
    shown: () => sides.map((side) => side.shown),
    main: () => sides[main],
    setMain,
    // The view that belongs to the one that was chosen comes with it, if there is one.
    choose(n, key) {
      const pair = data.pairs.find((one) => one[n] === key);
      show(sides[n], key);
      if (pair) show(sides[1 - n], pair[1 - n]);
    },
    // The pair `by` places on from the one on stage.
    nextPair(by) {
      const here = data.pairs.findIndex((pair) => pair[main] === sides[main].shown);
      return data.pairs[(Math.max(here, 0) + by + data.pairs.length) % data.pairs.length];
    },
    // Each swim's own time: that of the frame shown.
    paint(at_s, frames, clockOf) {
      for (const side of sides) {
        const frame = frames[side.shown] ?? null;
        const clock = clockOf(side.shown);
        side.notHere.hidden = frame !== null;
        side.notHere.textContent = root.dataset.notHere;
        side.element.dataset.frame = frame ?? "";
        side.element.dataset.view = side.shown;
        const own_s = frame !== null && clock ? swimS(clock, frame) : at_s;
        side.time.textContent = `${seconds.format(own_s + side.offset_s)} s`;
      }
      root.dataset.at = at_s.toFixed(4);
    },
    since: (at_s) => root.dataset.since.replace("{at}", seconds.format(at_s)),
  };
}
