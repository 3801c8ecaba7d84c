// The small views: over the strip, at the time at which the swimmer passes them; in a row where
// there is no room. A tap leads there; those on stage are outlined.

import { walksAlong } from "./follow.js";
import { placeStands } from "./stands.js";

const GAP_PX = 8;
const WIDTH_PX = 120;
const ALONG_SHARE = 0.5; // a view of more than half of the swim stands at no one time

export function startStandRow(room, { choose }) {
  const row = room.element.querySelector("[data-stands]");
  const stands = [...row.querySelectorAll("[data-stand]")];
  const { begin_s, end_s } = room.data.swim;
  const long = (view) => view.to_s - view.from_s > ALONG_SHARE * (end_s - begin_s);
  const along = (stand) => {
    const view = room.view(stand.dataset.stand);
    return walksAlong(view) && long(view);
  };
  const passing = stands.filter((stand) => !along(stand));

  function stand() {
    const water = room.element.querySelector(".lane-strip-water").getBoundingClientRect();
    const inset = water.left - row.getBoundingClientRect().left;
    const centres = passing.map((element) => {
      const { seen_from_s, seen_to_s } = room.view(element.dataset.stand);
      return inset + (water.width * ((seen_from_s + seen_to_s) / 2 - begin_s)) / (end_s - begin_s);
    });
    const wide = matchMedia("(min-width: 901px)").matches;
    const lefts = wide && passing.length
      ? placeStands(centres, WIDTH_PX, GAP_PX, row.clientWidth) : null;
    row.classList.toggle("placed", lefts !== null);
    passing.forEach((element, n) => { element.style.left = lefts ? `${lefts[n]}px` : ""; });
    for (const element of stands)
      element.hidden = lefts !== null && !passing.includes(element);
  }

  row.addEventListener("click", (event) => {
    const chosen = event.target.closest("[data-stand]");
    if (!chosen || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    choose(chosen.dataset.stand);
  });
  room.element.addEventListener("room:stage", ({ detail: { shown, main } }) => {
    for (const element of stands) {
      const { stand: key } = element.dataset;
      element.classList.toggle("on", shown.includes(key));
      element.classList.toggle("main", key === main);
      if (key === main) element.setAttribute("aria-current", "true");
      else element.removeAttribute("aria-current");
      const bar = room.element.querySelector(`.bar[data-key="${CSS.escape(key)}"]`);
      bar?.classList.toggle("chosen", shown.includes(key));
    }
    if (row.classList.contains("placed")) return;
    const now = stands.find((element) => element.dataset.stand === main);
    row.scrollTo({ left: now.offsetLeft - row.clientWidth / 2 + now.clientWidth / 2 });
  });
  new ResizeObserver(stand).observe(row);
  stand();
}
