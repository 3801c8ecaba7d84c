// One view drawn on a canvas: decoded pictures around an instant, the next one converted ahead.

import { makeDecoder } from "./decoder.js";
import { demux } from "./demux.js";
import { makeGopCache } from "./gop-cache.js";
import { makeGops, wantedGops } from "./gops.js";

export async function openCanvasView(canvas, { clock, film, converter, lane, onTrouble }) {
  const { config, keyFrames, chunks } = await demux(film, clock.ticks);
  const gops = makeGops(keyFrames, clock.ticks.length);
  const cache = await makeGopCache({
    gops,
    chunks,
    makeDecoder: (onPicture) => makeDecoder(config, onPicture),
    lane,
    onTrouble,
  });
  const pen = canvas.getContext("2d", { alpha: false });
  let aimed = "";
  let painted = 0;
  let stride = 1; // how many frames on, or back, the next one to be painted probably is
  let ahead = null; // { frame, bitmap }: drawn at once; a picture would be converted first
  let busy = false;

  function forget() {
    ahead?.bitmap?.close();
    ahead = null;
  }

  // The picture that is probably next becomes a bitmap meanwhile; one at a time, so that a slow
  // machine is not asked for what it cannot deliver.
  async function convertAhead() {
    const frame = painted + stride;
    const picture = cache.get(frame);
    if (busy || ahead?.frame === frame || !(picture instanceof VideoFrame)) return;
    forget();
    const mine = (ahead = { frame, bitmap: null });
    busy = true;
    const bitmap = await converter.bitmap(picture);
    busy = false;
    if (ahead === mine) mine.bitmap = bitmap;
    else bitmap?.close();
  }

  return {
    has: cache.has,
    // Enough to begin playing here: this group and the next are decoded.
    buffered(frame) {
      const own = gops.of(frame);
      return cache.whole(own) && (own + 1 >= gops.count || cache.whole(own + 1));
    },
    aim(frame, loopFrame, hurry) {
      const way = Math.sign(stride);
      const key = `${gops.of(frame)} ${loopFrame === null ? "" : gops.of(loopFrame)} ${hurry} ${way}`;
      if (key === aimed) return;
      aimed = key;
      cache.want(wantedGops(gops, frame, loopFrame, way), hurry);
    },
    wait: cache.wait,
    paint(frame) {
      const picture = (ahead?.frame === frame && ahead.bitmap) || cache.get(frame);
      const width = picture.displayWidth ?? picture.width;
      const height = picture.displayHeight ?? picture.height;
      if (canvas.width !== width || canvas.height !== height)
        Object.assign(canvas, { width, height });
      pen.drawImage(picture, 0, 0, width, height);
      stride = frame !== painted && Math.abs(frame - painted) < 5 ? frame - painted : 1;
      painted = frame;
    },
    convertAhead,
    close() {
      forget();
      cache.close();
    },
  };
}
