// Points as they come from a hand or from the cross-hair, until a drawing has all of its own.
// Pure: it is told where, in fractions of the picture, and whether that was far away.
//
// A drag sets the point where it began and the one where it ended, a tap sets one. A free trace
// is one drag, or taps. A trace made by points is finished by the last point again.

import { NEEDED } from "./geometry.js";

const MOST_CORNERS = 40;

export function makeGesture(kind, straight) {
  const free = kind === "trace" && !straight;
  const needed = NEEDED[kind] ?? (straight ? MOST_CORNERS : 400);
  let points = [];
  let from = null; // where a press began
  let line = null; // a free trace as it is drawn

  const room = () => needed - points.length;
  const full = () => points.length >= needed;

  return {
    kind,
    straight,
    points: () => [...points],
    begun: () => points.length > 0 || from !== null,
    // Enough for what it is; a trace may go on.
    enough: () => (kind === "trace" ? points.length >= 2 : full()),
    full,
    // By the cross-hair, or a tap. True: that was the last one.
    add(point, same = false) {
      if (same && kind === "trace" && points.length >= 2) return true;
      if (!same || !points.length) points = [...points, point];
      return full();
    },
    press(point) {
      from = point;
      line = free ? [point] : null;
    },
    move(point) { line?.push(point); },
    // `far`: far enough from the press to count as a drag; `same`: where the last point is.
    release(point, far, same) {
      const [pressed, drawn] = [from, line];
      [from, line] = [null, null];
      if (!pressed) return false;
      if (far && drawn && !points.length) {
        points = [...drawn, point];
        return true;
      }
      if (far && room() > 1 && kind !== "level" && !points.length) points = [pressed];
      return this.add(point, same);
    },
    cancel() { [from, line] = [null, null]; },
    // What there would be if the hand stopped here.
    preview(point) {
      if (line && !points.length) return [...line, point];
      if (from && !points.length && room() > 1) return [from, point];
      return full() ? points : [...points, point];
    },
  };
}
