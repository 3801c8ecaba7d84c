// Enlarging a picture within its window. Pure.
//
// A point p of the picture stands at { x, y } + scale × p. The picture always covers its window.

const LARGEST = 8;

export const NONE = Object.freeze({ scale: 1, x: 0, y: 0 });

const within = (value, low, high) => Math.min(high, Math.max(low, value));

function kept({ scale, x, y }, [width, height]) {
  return {
    scale,
    x: within(x, width * (1 - scale), 0),
    y: within(y, height * (1 - scale), 0),
  };
}

// Larger or smaller by a factor; the point of the picture under [x, y] stays there.
export function zoomAt(zoom, factor, [x, y], size) {
  const scale = within(zoom.scale * factor, 1, LARGEST);
  const by = scale / zoom.scale;
  return kept({ scale, x: x - (x - zoom.x) * by, y: y - (y - zoom.y) * by }, size);
}

export function pan(zoom, [dx, dy], size) {
  return kept({ scale: zoom.scale, x: zoom.x + dx, y: zoom.y + dy }, size);
}

export const isWhole = (zoom) => zoom.scale < 1.001;
