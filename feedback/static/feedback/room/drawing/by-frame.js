// Which drawings stand on a frame of a view. Pure; read once for all, so that a frame costs a
// look-up and not a walk through all drawings.

const NONE = Object.freeze([]);

export function makeIndex(drawings) {
  const views = new Map();
  for (const drawing of drawings) {
    if (drawing.view === null) continue;
    if (!views.has(drawing.view)) views.set(drawing.view, { alone: new Map(), spans: [] });
    const { alone, spans } = views.get(drawing.view);
    const until = drawing.until_frame ?? drawing.frame;
    if (until > drawing.frame) spans.push(drawing);
    else if (alone.has(drawing.frame)) alone.get(drawing.frame).push(drawing);
    else alone.set(drawing.frame, [drawing]);
  }
  return {
    at(view, frame) {
      const found = frame === null || frame === undefined ? undefined : views.get(view);
      if (!found) return NONE;
      const here = found.alone.get(frame) ?? NONE;
      if (!found.spans.length) return here;
      return [...here, ...found.spans.filter((one) => one.frame <= frame && frame <= one.until_frame)];
    },
  };
}
