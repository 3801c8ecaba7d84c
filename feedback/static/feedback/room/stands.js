// Where the small views stand above the strip: at the middle of the time at which the
// swimmer passes, moved as little as is needed so that none covers another. Pure.

export function placeStands(centres_px, width_px, gap_px, total_px) {
  const room = width_px + gap_px;
  if (centres_px.length * room - gap_px > total_px) return null; // no room: they stand in a row
  const lefts = centres_px.map((centre) => centre - width_px / 2);
  for (let n = 0; n < lefts.length; n += 1)
    lefts[n] = Math.max(lefts[n], n ? lefts[n - 1] + room : 0);
  for (let n = lefts.length - 1, limit = total_px - width_px; n >= 0; n -= 1) {
    lefts[n] = Math.min(lefts[n], limit);
    limit = lefts[n] - room;
  }
  return lefts;
}
