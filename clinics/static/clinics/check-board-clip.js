// The clip in the large picture: stands at an instant, at a still of its strip, at a frame.

import { frameShown, middleOf } from "./check-players.js";
import { showStill } from "./check-board-strip.js";

const tables = new Map(); // times of frames by their address

async function frameTimes(url) {
  if (!tables.has(url)) {
    const answer = await fetch(url, { credentials: "same-origin" });
    if (!answer.ok) throw new Error(`no list of frames: ${answer.status}`);
    const table = await answer.json();
    tables.set(
      url,
      table.pts.map((ticks) => ticks / table.ticks_per_s),
    );
  }
  return tables.get(url);
}

export function startClip(look) {
  const part = (name) => look.querySelector(`[data-look-${name}]`);
  const video = part("video");
  const play = look.querySelector('[data-look-do="play"]');
  let shown = {}; // the data of the still whose clip this is

  let wanted = null; // where to stand as soon as the clip can

  function stand(seconds) {
    video.pause();
    wanted = seconds;
    if (video.readyState >= 1) video.currentTime = seconds;
  }
  video.addEventListener("loadedmetadata", () => {
    if (wanted !== null) video.currentTime = wanted;
  });
  video.addEventListener("seeked", () => (wanted = null));
  const now = () => wanted ?? video.currentTime;

  const count = () => Number(shown.count);
  const still = () =>
    Math.min(Math.floor((now() / video.duration) * count()), count() - 1);

  function toStill(n) {
    const to = Math.min(Math.max(n, 0), count() - 1);
    if (video.duration) stand(((to + 0.5) / count()) * video.duration);
  }

  async function frame(by) {
    const { frames } = shown;
    if (!frames) return;
    const times = await frameTimes(frames);
    if (shown.frames === frames) stand(middleOf(times, frameShown(times, now()) + by));
  }

  function drawStrip() {
    const strip = part("strip");
    const buttons = Array.from({ length: shown.strip ? count() : 0 }, (_, n) => {
      const button = document.createElement("button");
      button.type = "button";
      button.style.backgroundImage = `url("${shown.strip}")`;
      showStill(button, (n + 0.5) / count(), count());
      const words = strip.dataset.words.replace("{n}", n + 1).replace("{of}", count());
      button.setAttribute("aria-label", words);
      button.addEventListener("click", () => toStill(n));
      return button;
    });
    strip.replaceChildren(...buttons);
  }

  function mark() {
    [...part("strip").children].forEach((button, n) => {
      if (n === still()) button.setAttribute("aria-current", "true");
      else button.removeAttribute("aria-current");
    });
  }

  function parts(video_, image, steps, seconds) {
    video.hidden = !video_;
    part("still").hidden = !image;
    part("none").hidden = video_ || image;
    for (const name of ["play", "back", "on"]) {
      look.querySelector(`[data-look-do="${name}"]`).hidden = !steps;
    }
    for (const button of look.querySelectorAll("[data-card-step]")) button.hidden = !seconds;
  }

  function show(data, words) {
    shown = data;
    wanted = null;
    parts(Boolean(data.video), !data.video && data.poster, Boolean(data.video), false);
    if (data.poster) part("still").src = data.poster;
    part("still").alt = words;
    video.poster = data.poster ?? "";
    video.setAttribute("aria-label", words);
    if (data.video) video.src = data.video;
    else video.removeAttribute("src");
    if (data.video && data.at) stand(Number(data.at));
    drawStrip();
  }

  function showCard(url, words) {
    shown = {};
    video.pause();
    video.removeAttribute("src");
    parts(false, true, false, true);
    part("still").src = url;
    part("still").alt = words;
    drawStrip();
  }

  video.addEventListener("timeupdate", mark);
  video.addEventListener("seeked", mark);
  for (const kind of ["play", "pause"]) {
    video.addEventListener(kind, () => {
      play.textContent = video.paused ? play.dataset.play : play.dataset.pause;
    });
  }

  return {
    show,
    showCard,
    rest: () => video.pause(),
    play: () => (video.paused ? video.play() : video.pause()),
    frame,
    still: (by) => shown.strip && toStill(still() + by),
  };
}
