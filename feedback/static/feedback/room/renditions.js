// Which rendition suits a view of this height, and its list of frames.

// The smallest that is at least as high as the view on this screen; else the largest.
// With 0 px: the smallest, for who saves data.
export function pickRendition(renditions, height_px) {
  const bySize = [...renditions].sort((one, other) => one.height - other.height);
  return bySize.find((rendition) => rendition.height >= height_px) ?? bySize.at(-1);
}

export function smallest(renditions) {
  return pickRendition(renditions, 0);
}

export async function fetchTicks(rendition, signal) {
  const answer = await fetch(rendition.frames, { credentials: "same-origin", signal });
  if (!answer.ok) throw new Error(`frames: ${answer.status}`);
  return (await answer.json()).pts;
}
