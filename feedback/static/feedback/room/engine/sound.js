// The sound of the main view: only at its own speed, and in step with the common clock.

import { mediaAtSwimS } from "../clock.js";

const NEAR_S = 0.06;
const ANEW_S = 0.25;

export function makeSound(onTrouble) {
  const audio = new Audio();
  let on = false;
  let view = null;
  let loading = null;
  let url = null;
  let stopper = null;

  function drop() {
    stopper?.abort();
    audio.pause();
    audio.removeAttribute("src");
    if (url) URL.revokeObjectURL(url);
    [url, loading] = [null, null];
  }

  // Fetched once and whole, as the films are.
  async function load(wanted) {
    stopper = new AbortController();
    const answer = await fetch(wanted.sound.url, {
      credentials: "same-origin", signal: stopper.signal,
    });
    if (!answer.ok) throw new Error(`sound: ${answer.status}`);
    const made = URL.createObjectURL(await answer.blob());
    if (wanted !== view || !on) URL.revokeObjectURL(made);
    else audio.src = url = made;
  }

  function fail(error) {
    if (error.name === "AbortError") return;
    on = false;
    drop();
    onTrouble(error);
  }

  return {
    audio,
    setOn(wish) {
      on = wish;
      if (!on) drop();
    },
    of(wanted) {
      if (wanted !== view) drop();
      view = wanted;
    },
    // Called at each refresh while the views run, and once when they no longer do.
    follow(at_s, { runs, rate }) {
      if (!on || !view?.sound || !view.clock) return;
      if (!url && runs) loading ??= load(view).catch(fail);
      if (!url) return;
      const media_s = mediaAtSwimS(view.clock, at_s) - view.sound.starts_at_s;
      const heard = runs && rate === 1 && media_s >= 0 && media_s < (audio.duration || Infinity);
      if (!heard) return void (audio.paused || audio.pause());
      const late_s = media_s - audio.currentTime;
      if (audio.paused || Math.abs(late_s) > ANEW_S) audio.currentTime = media_s;
      audio.playbackRate = Math.abs(late_s) > NEAR_S ? 1 + 0.05 * Math.sign(late_s) : 1;
      if (audio.paused) audio.play().catch(fail);
    },
    close: drop,
  };
}
