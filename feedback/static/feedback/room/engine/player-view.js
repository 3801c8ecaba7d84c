// One view in a <video>: put on exact frames while it stands, steered while it runs.

import { mediaAtSwimS, middleMediaS, shownFrame, swimAtMediaS } from "../clock.js";

const PATIENCE_MS = 1500; // a browser may miss to say which frame it presented

const loaded = (video, url) => new Promise((done, fail) => {
  video.addEventListener("loadeddata", () => done(), { once: true });
  video.addEventListener("error", () => fail(new Error("film: cannot be played")), { once: true });
  video.src = url;
  video.load();
});

export async function openPlayerView(video, { clock, film, onFrame }) {
  const url = URL.createObjectURL(new Blob([await film.whole()], { type: "video/mp4" }));
  Object.assign(video, { controls: false, muted: true, playsInline: true, preload: "auto" });
  video.removeAttribute("poster");
  video.tabIndex = -1; // the page's buttons and keys do all that it does
  await loaded(video, url);
  const tells = "requestVideoFrameCallback" in video;
  let presented = null;
  let closed = false;
  let busy = false;
  let giveUp = () => {}; // a seek that a newer one takes over from says nothing

  const report = (frame) => {
    if (frame === presented || closed) return;
    presented = frame;
    onFrame(frame);
  };

  // While it runs, the browser says of each presented frame when it is.
  const listen = () => video.requestVideoFrameCallback((_now, told) => {
    if (closed) return;
    if (!busy) report(shownFrame(clock, told.mediaTime));
    listen();
  });
  if (tells) listen();

  // A step is done when the seek is and the browser has presented that very frame.
  const seek = (frame) => new Promise((done) => {
    let seen = !tells;
    let sought = false;
    let over = false;
    giveUp();
    busy = true;
    const finish = () => {
      if (over) return;
      over = true;
      busy = false;
      clearTimeout(timer);
      report(frame);
      done();
    };
    const timer = setTimeout(finish, PATIENCE_MS);
    giveUp = () => {
      over = true;
      clearTimeout(timer);
      done();
    };
    const check = () => { if (seen && sought && !over) finish(); };
    const watch = () => video.requestVideoFrameCallback((_now, told) => {
      if (over) return;
      seen = shownFrame(clock, told.mediaTime) === frame;
      if (!seen) watch();
      check();
    });
    if (tells) watch();
    video.addEventListener("seeked", () => {
      sought = true;
      check();
    }, { once: true });
    video.currentTime = middleMediaS(clock, frame);
  });

  return {
    frame: () => presented,
    busy: () => busy,
    running: () => !video.paused && !video.ended,
    ended: () => video.ended,
    // Where it stands already it is not sought again: nothing would be presented.
    async stand(frame) {
      video.pause();
      const middle_s = middleMediaS(clock, frame);
      const there = !busy && presented === frame && Math.abs(video.currentTime - middle_s) < 1e-4;
      if (!there) await seek(frame);
    },
    at_s: () => swimAtMediaS(clock, video.currentTime),
    late_s: (at_s) => (mediaAtSwimS(clock, at_s) - video.currentTime) * clock.rate,
    speed(rate) {
      const speed = rate / clock.rate;
      if (Math.abs(video.playbackRate - speed) > 1e-6) video.playbackRate = speed;
    },
    run: () => video.play(),
    pause: () => video.pause(),
    close() {
      closed = true;
      video.pause();
      video.removeAttribute("src");
      video.load();
      URL.revokeObjectURL(url);
    },
  };
}
