// Covering somebody in a clip: the picture on which the area is dragged is taken from the film as
// it stands, and so are the frames from and up to which it is covered.

import { frameShown } from "./check-players.js";

async function tableOf(video) {
  const answer = await fetch(video.dataset.frames, { credentials: "same-origin" });
  if (!answer.ok) throw new Error(`no list of frames: ${answer.status}`);
  return answer.json();
}

async function loaded(video) {
  if (video.readyState >= 2) return;
  video.preload = "auto";
  video.load();
  await new Promise((done) => video.addEventListener("loadeddata", done, { once: true }));
}

async function takePicture(form, video) {
  await loaded(video);
  video.pause();
  const canvas = form.querySelector("[data-mask-canvas]");
  canvas.width = video.videoWidth;
  canvas.height = video.videoHeight;
  canvas.getContext("2d").drawImage(video, 0, 0);
  form.querySelector("[data-mask-picture]").hidden = false;
}

const asked = new WeakMap(); // by field: the last instant that was meant

// The frame at which it was pressed, however long its number takes to come.
async function takeFrame(field, video) {
  const meant = { at_s: video.currentTime };
  asked.set(field, meant);
  const table = await tableOf(video);
  const times = table.pts.map((ticks) => ticks / table.ticks_per_s);
  if (asked.get(field) === meant) field.value = table.first_frame + frameShown(times, meant.at_s);
}

function start(form) {
  const article = form.closest("article");
  const film = () => article.querySelector("video"); // it is put in anew when it is made again
  const show = () => (form.querySelector("[data-mask-film]").hidden = !film());
  form.querySelector("[data-mask-take]").addEventListener("click", () => takePicture(form, film()));
  for (const button of form.querySelectorAll("[data-mask-end]")) {
    const field = form.elements[button.dataset.maskEnd];
    button.addEventListener("click", () => takeFrame(field, film()));
  }
  form.closest("[data-mask-details]").addEventListener("toggle", show);
  show();
}

for (const form of document.querySelectorAll("[data-mask-clip]")) start(form);
