// Dragging and turning by frames. Pure: pixels in, whole frames out, the rest is kept.

const LINE_PX = 33; // a line of a wheel that counts lines: three make a notch

export function makeJog(px_per_frame) {
  let rest_px = 0;
  return {
    begin() { rest_px = 0; },
    // Frames to step for so many more pixels.
    add(px) {
      rest_px += px;
      const frames = Math.trunc(rest_px / px_per_frame);
      rest_px -= frames * px_per_frame;
      return frames || 0; // never -0
    },
  };
}

// How far a wheel was turned, in px; sideways counts where there is more of it.
export function wheelPx({ deltaX, deltaY, deltaMode }) {
  const turned = Math.abs(deltaX) > Math.abs(deltaY) ? deltaX : deltaY;
  return deltaMode === 1 ? turned * LINE_PX : turned;
}
