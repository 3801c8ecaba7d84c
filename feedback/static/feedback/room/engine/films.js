// Clocks and films of all views: frame lists when first asked for, films when first shown.

import { makeClock } from "../clock.js";
import { fetchTicks, pickRendition } from "../renditions.js";
import { fetchFilm } from "./film.js";

const KEPT_BYTES = 96 * 1024 ** 2; // of films that are not on stage; the longest unseen go first

export function makeFilms(views, onFetch) {
  const own = new Map(views.map((view) => [view.key, { view, rendition: null, film: null }]));
  const stopper = new AbortController();

  // A failure is forgotten, so that it can be tried again.
  function load(key) {
    const one = own.get(key);
    one.loading ??= fetchTicks(one.view.renditions[0], stopper.signal)
      .then((ticks) => (one.view.clock = makeClock({ ...one.view, ticks })))
      .catch((error) => {
        one.loading = null;
        throw error;
      });
    return one.loading;
  }

  function drop(one) {
    one.film?.close();
    one.old?.close();
    Object.assign(one, { old: null, film: null, rendition: null });
  }

  return {
    load,
    clock: (key) => own.get(key).view.clock ?? null,
    // Of the film that was fetched; else of the one that suits this height.
    bytes(key, height_px) {
      const one = own.get(key);
      return (one.rendition ?? pickRendition(one.view.renditions, height_px)).size_bytes;
    },
    share: (key) => own.get(key).film?.share() ?? 0,
    // The film for a view so high; the one that is there, if it is large enough. One that it
    // replaces stays open until `settle`: it is on screen.
    take(key, height_px) {
      const one = own.get(key);
      const fits = pickRendition(one.view.renditions, height_px);
      if (one.film && one.rendition.height >= fits.height) return one.film;
      const film = fetchFilm(fits.url, fits.size_bytes, (loaded, total) =>
        onFetch({ key, loaded, total }));
      one.old?.close();
      Object.assign(one, { old: one.film, film, rendition: fits });
      return film;
    },
    async ahead(key, height_px) {
      await load(key);
      await this.take(key, height_px).whole();
    },
    settle(key) {
      own.get(key).old?.close();
      own.get(key).old = null;
    },
    forget: (key) => drop(own.get(key)),
    // Films beyond the bound go, oldest first.
    keep(shown) {
      for (const key of shown) {
        const one = own.get(key);
        own.delete(key);
        own.set(key, one); // the newest last
      }
      const others = [...own.values()].filter(({ view, film }) => film && !shown.includes(view.key));
      let bytes = others.reduce((sum, { rendition }) => sum + rendition.size_bytes, 0);
      for (const one of others) {
        if (bytes <= KEPT_BYTES) break;
        bytes -= one.rendition.size_bytes;
        drop(one);
      }
    },
    close() {
      stopper.abort();
      own.forEach(drop);
    },
  };
}
