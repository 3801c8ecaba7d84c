// Enlarged pictures: each view has its own zoom; surface and overlay move together.

import { NONE, isWhole, pan, zoomAt } from "./zoom.js";

const BUTTON = 1.5;
const SHARPEN_AFTER_MS = 400;

export function startZooming(room, { onLarger }) {
  const zooms = new Map();
  let later = 0;
  const of = (key) => zooms.get(key) ?? NONE;
  const area = (key) => room.view(key).picture.parentElement;
  const size = (key) => [area(key).clientWidth, area(key).clientHeight];

  function set(key, zoom) {
    zooms.set(key, zoom);
    const whole = isWhole(zoom);
    const { picture } = room.view(key);
    picture.style.transform = whole
      ? "" : `translate(${zoom.x}px, ${zoom.y}px) scale(${zoom.scale})`;
    area(key).classList.toggle("enlarged", !whole);
    clearTimeout(later);
    later = setTimeout(onLarger, SHARPEN_AFTER_MS);
  }

  const zooming = {
    enlarged: (key) => !isWhole(of(key)),
    scale: (key) => of(key).scale,
    // Around a point of the window in client px; without one around its middle.
    by(key, factor, client) {
      const box = area(key).getBoundingClientRect();
      const at = client
        ? [client[0] - box.left, client[1] - box.top] : [box.width / 2, box.height / 2];
      set(key, zoomAt(of(key), factor, at, size(key)));
    },
    pan: (key, by) => set(key, pan(of(key), by, size(key))),
    whole: (key) => set(key, NONE),
  };
  const main = (work) => () => work(room.now().main);
  const does = {
    larger: main((key) => zooming.by(key, BUTTON)),
    smaller: main((key) => zooming.by(key, 1 / BUTTON)),
    whole: main((key) => zooming.whole(key)),
  };
  for (const [name, work] of Object.entries(does))
    room.element.querySelector(`[data-do="${name}"]`).addEventListener("click", work);
  room.addKeys({ "+": does.larger, "-": does.smaller, 0: does.whole });
  // A window of another size: what stood outside would be lost.
  new ResizeObserver(() => {
    for (const [key, zoom] of zooms) if (!isWhole(zoom)) set(key, pan(zoom, [0, 0], size(key)));
  }).observe(room.element.querySelector("[data-stage]"));
  return zooming;
}
