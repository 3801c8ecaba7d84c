// The views of a swim: one on stage, the others small above the strip.
//
// createViews(room, data) knows each view's clock and engine, and makes them when a view is
// first chosen. It sends `room:frame` {key, frame, at_s} from the room's element.

import { createEngine } from "./engine-video.js";
import { endS, frameAt, makeClock, swimS } from "./clock.js";
import { fetchTicks, pickRendition } from "./renditions.js";
import { placeStands } from "./stands.js";

const GAP_PX = 8;

export function createViews(room, data, onEnd) {
  const stage = room.querySelector("[data-stage]");
  const views = new Map(data.views.map((view) => [view.key, { ...view, element: elementOf(view) }]));
  let chosen = null;
  let rate = 1;

  function elementOf(view) {
    return stage.querySelector(`[data-view="${CSS.escape(view.key)}"]`);
  }

  const tell = (view, frame) => {
    if (view !== chosen) return;
    const at_s = swimS(view.clock, frame);
    room.dispatchEvent(new CustomEvent("room:frame", { detail: { view, frame, at_s } }));
  };

  // Clock and engine of a view, made once; a failure is forgotten so that it can be tried again.
  const open = (view) => {
    view.opened ??= (async () => {
      const height_px = stage.clientHeight * Math.min(window.devicePixelRatio, 2);
      const rendition = pickRendition(view.renditions, height_px);
      view.clock = makeClock({ ...view, ticks: await fetchTicks(rendition) });
      const video = view.element.querySelector("video");
      view.engine = createEngine(video, rendition.url, view.clock, {
        onFrame: (frame) => tell(view, frame),
        onEnd: () => { if (view === chosen) onEnd(); },
      });
      view.engine.setRate(rate);
    })().catch((error) => {
      view.opened = null;
      throw error;
    });
    return view.opened;
  };

  // Put a view on stage at a frame ({frame}), at an instant ({at_s}), or where it was ({}).
  async function choose(key, { frame, at_s } = {}) {
    const view = views.get(key);
    const before = chosen;
    chosen = view;
    for (const other of views.values()) {
      other.element.classList.toggle("chosen", other === view);
      const stand = room.querySelector(`[data-stand="${CSS.escape(other.key)}"]`);
      stand.classList.toggle("on", other === view);
      if (other === view) stand.setAttribute("aria-current", "true");
      else stand.removeAttribute("aria-current");
      const bar = room.querySelector(`.bar[data-key="${CSS.escape(other.key)}"]`);
      bar?.classList.toggle("chosen", other === view);
    }
    if (before && before !== view) await before.engine?.pause();
    await open(view);
    const target = frame ?? (at_s === undefined ? view.engine.frame() : frameAt(view.clock, at_s));
    await view.engine.show(target);
    tell(view, target);
  }

  // Which view has the swimmer at this instant: the chosen one if it does, else the one that
  // does, else the nearest in time.
  function viewAt(at_s) {
    const away = (view) => Math.max(view.seen_from_s - at_s, at_s - view.seen_to_s, 0);
    if (chosen && away(chosen) === 0) return chosen;
    return [...views.values()].sort((one, other) => away(one) - away(other))[0];
  }

  function stand() {
    const stands = [...room.querySelectorAll("[data-stand]")];
    const row = room.querySelector("[data-stands]");
    const water = room.querySelector(".lane-strip-water").getBoundingClientRect();
    const slider = room.querySelector("[role=slider]");
    const [begin, end] = [Number(slider.ariaValueMin), Number(slider.ariaValueMax)];
    const inset = water.left - row.getBoundingClientRect().left;
    const centres = stands.map((element) => {
      const { seen_from_s, seen_to_s } = views.get(element.dataset.stand);
      return inset + (water.width * ((seen_from_s + seen_to_s) / 2 - begin)) / (end - begin);
    });
    const wide = matchMedia("(min-width: 900px)").matches;
    const lefts = wide ? placeStands(centres, 120, GAP_PX, row.clientWidth) : null;
    row.classList.toggle("placed", lefts !== null);
    stands.forEach((element, n) => { element.style.left = lefts ? `${lefts[n]}px` : ""; });
  }

  for (const { element } of views.values()) {
    const video = element.querySelector("video");
    video.controls = false;
    video.tabIndex = -1; // the buttons and keys below do all that it does
  }
  new ResizeObserver(stand).observe(room.querySelector("[data-stands]"));
  stand();

  return {
    all: () => [...views.values()],
    get: (key) => views.get(key),
    chosen: () => chosen,
    choose,
    viewAt,
    endS: (view) => endS(view.clock),
    setRate(to) {
      rate = to;
      for (const view of views.values()) view.engine?.setRate(to);
    },
  };
}
