// Single frames and slow motion under each clip, so that a number card can be read.
// A step lands in the middle of a frame's time, as the clip's list of frames has it.

async function frameTimes(video) {
  if (!video.frameTimes) {
    const answer = await fetch(video.dataset.frames, { credentials: "same-origin" });
    if (!answer.ok) throw new Error(`no list of frames: ${answer.status}`);
    const table = await answer.json();
    video.frameTimes = table.pts.map((ticks) => ticks / table.ticks_per_s);
  }
  return video.frameTimes;
}

export function frameShown(times, seconds) {
  let low = 0;
  let high = times.length - 1;
  while (low < high) {
    const middle = Math.ceil((low + high) / 2);
    if (times[middle] <= seconds) low = middle;
    else high = middle - 1;
  }
  return low;
}

export function middleOf(times, frame) {
  const last = times.length - 1;
  const n = Math.min(Math.max(frame, 0), last);
  const usual = last > 0 ? times[last] - times[last - 1] : 0;
  const end = n < last ? times[n + 1] : times[n] + usual;
  return (times[n] + end) / 2;
}

async function step(video, by) {
  video.pause();
  if (video.readyState < 1) {
    video.preload = "auto";
    video.load();
    await new Promise((done) => video.addEventListener("loadeddata", done, { once: true }));
  }
  const times = await frameTimes(video);
  video.currentTime = middleOf(times, frameShown(times, video.currentTime) + by);
}

export function start(card) {
  const video = card.querySelector("video");
  const steps = card.querySelector("[data-steps]");
  if (!video || !steps) return;
  steps.hidden = false;
  for (const button of steps.querySelectorAll("[data-step]")) {
    button.addEventListener("click", () => step(video, Number(button.dataset.step)));
  }
  const slow = steps.querySelector("[data-slow]");
  slow.addEventListener("click", () => {
    const on = slow.getAttribute("aria-pressed") !== "true";
    slow.setAttribute("aria-pressed", String(on));
    video.playbackRate = on ? 0.25 : 1;
  });
}

for (const views of document.querySelectorAll("[data-check-players]")) {
  for (const card of views.querySelectorAll("article")) start(card);
}
