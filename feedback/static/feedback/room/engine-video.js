// Plays one clip in one <video>, and stops at exact frames.
//
// The room talks to an engine only through: show(frame), play(), pause(), setRate(rate),
// frame(), playing(), and is told by `onFrame(frame)` which frame is on screen and by
// `onEnd()` that the last one was played. Another engine can take its place.

import { middleMediaS, shownFrame } from "./clock.js";

const PATIENCE_MS = 1500; // a browser may miss to say which frame it presented

export function createEngine(video, url, clock, { onFrame, onEnd }) {
  const tells = "requestVideoFrameCallback" in video;
  let onScreen = -1;
  let wanted = null;
  let going = null;
  let ready = null;

  const report = (frame) => {
    if (frame === onScreen) return;
    onScreen = frame;
    onFrame(frame);
  };

  const load = () => {
    ready ??= new Promise((done, fail) => {
      video.addEventListener("loadedmetadata", () => done(), { once: true });
      video.addEventListener("error", () => { ready = null; fail(new Error("not loaded")); }, { once: true });
      video.src = url; // before `preload`, or the plain player's small file is fetched, too
      video.preload = "auto";
      video.load();
    });
    return ready;
  };

  // While it plays, and after a seek, the browser says of each presented frame when it is.
  const listen = () => {
    if (!tells) return;
    video.requestVideoFrameCallback((_now, told) => {
      if (!video.paused) report(shownFrame(clock, told.mediaTime));
      listen();
    });
  };

  // A step is done when the seek is and the browser has presented that very frame.
  const seek = (frame) => new Promise((done) => {
    let presented = !tells;
    let sought = false;
    let over = false;
    const finish = () => {
      if (over) return;
      over = true;
      clearTimeout(timer);
      report(frame);
      done(frame);
    };
    const timer = setTimeout(finish, PATIENCE_MS);
    const check = () => { if (presented && sought) finish(); };
    const watch = () => video.requestVideoFrameCallback((_now, told) => {
      if (over) return;
      presented = shownFrame(clock, told.mediaTime) === frame;
      if (!presented) watch();
      check();
    });
    if (tells) watch();
    video.addEventListener("seeked", () => {
      sought = true;
      check();
    }, { once: true });
    video.currentTime = middleMediaS(clock, frame);
  });

  const work = async () => {
    await load();
    while (wanted !== null) {
      const frame = wanted;
      wanted = null;
      if (frame !== onScreen || video.seeking || video.currentTime === 0) await seek(frame);
    }
  };

  const show = (frame) => {
    wanted = Math.min(clock.ticks.length - 1, Math.max(0, frame));
    going ??= work().finally(() => { going = null; });
    return going;
  };

  listen();
  video.addEventListener("ended", () => {
    report(clock.ticks.length - 1);
    onEnd();
  });
  if (!tells)
    video.addEventListener("timeupdate", () => {
      if (!video.paused) report(shownFrame(clock, video.currentTime));
    });

  return {
    show,
    frame: () => Math.max(0, onScreen),
    playing: () => !video.paused && !video.ended,
    setRate: (rate) => { video.defaultPlaybackRate = video.playbackRate = rate; },
    async play() {
      await load();
      if (going) await going;
      if (onScreen >= clock.ticks.length - 1) await show(0);
      video.playbackRate = video.defaultPlaybackRate;
      await video.play();
    },
    // The player's own time runs a little ahead of what it has presented: once it stands
    // still, it is put on the middle of the frame that was on screen.
    async pause() {
      if (video.paused) return;
      video.pause();
      const frame = Math.max(0, onScreen);
      onScreen = -1;
      await show(frame);
    },
  };
}
