// Which views stand on stage at an instant. Pure: it knows no page and no film.
//
// A view covers swim time from_s to to_s and has the swimmer from seen_from_s to seen_to_s. The
// deck camera walks along: it shows nearly all of the swim, so it stands beside the others and
// is the main view only where no other has the swimmer.

const NEAR_S = 1e-6;

export const reaches = (view, at_s) => at_s >= view.from_s - NEAR_S && at_s < view.to_s - NEAR_S;

// How far from the time in which the swimmer is in picture; 0: within it.
export const awayS = (view, at_s) =>
  Math.max(view.seen_from_s - at_s, at_s - view.seen_to_s, 0);

export const walksAlong = (view) => view.kind === "deck";

const nearest = (views, at_s) =>
  views.reduce((best, view) => (awayS(view, at_s) < awayS(best, at_s) ? view : best));

// The view that has the swimmer now: `current` as long as it does, else one that does, else
// `current` if it reaches this instant, else the nearest in time. Returns its key.
export function viewAt(views, at_s, current = null) {
  const own = views.find((view) => view.key === current);
  const fixed = views.filter((view) => !walksAlong(view));
  const sees = (view) => awayS(view, at_s) === 0 && reaches(view, at_s);
  if (own && sees(own) && !walksAlong(own)) return own.key;
  const seeing = fixed.find(sees) ?? views.find(sees);
  if (seeing) return seeing.key;
  if (own && reaches(own, at_s)) return own.key;
  const reaching = views.filter((view) => reaches(view, at_s));
  return nearest(reaching.length ? reaching : views, at_s).key;
}

// What to put beside the main view, best first: who walks along now, who has the swimmer, who
// reaches this instant, and then who comes next.
function besides(views, at_s, main) {
  const rank = (view) => {
    if (!reaches(view, at_s)) return 4;
    if (walksAlong(view)) return 1;
    return awayS(view, at_s) === 0 ? 2 : 3;
  };
  const later = (view) => (view.seen_to_s < at_s ? 1000 : 0) + awayS(view, at_s);
  return views
    .filter((view) => view.key !== main)
    .sort((one, other) => rank(one) - rank(other) || later(one) - later(other));
}

// The stage at an instant: { main, shown } of keys, the main one first. `kept` are the views that
// the person wants to stay; `before` what stands there now, which stays unless it is followed.
export function onStage(views, at_s, { layout, follow, main, kept = [], before = [] }) {
  const places = Math.min(layout, views.length);
  const staying = kept.filter((key) => views.some((view) => view.key === key));
  const free = views.filter((view) => !staying.includes(view.key));
  const swimmer = free.length ? viewAt(free, at_s, main) : main;
  let first = follow && !staying.includes(main) ? swimmer : main;
  if (staying.length >= places && !staying.includes(first)) first = staying.at(-1);
  const others = besides(views, at_s, first).map((view) => view.key);
  const wanted = [first, ...staying, ...(follow ? [swimmer] : before), ...others];
  return { main: first, shown: [...new Set(wanted)].slice(0, places) };
}

// Where to go on once no view on stage goes further: { key, at_s }, null: the swim is over.
export function goesOn(views, at_s) {
  const left = views.filter((view) => view.to_s > at_s + 0.05);
  if (!left.length) return null;
  const now = left.filter((view) => view.from_s <= at_s);
  if (now.length) return { key: viewAt(now, at_s), at_s };
  const next = left.reduce((best, view) => (view.from_s < best.from_s ? view : best));
  return { key: next.key, at_s: next.from_s };
}

// Which view will have the swimmer next, of those that are not on stage; null: none.
export function comesNext(views, at_s, shown) {
  const later = views.filter((view) => !shown.includes(view.key) && view.seen_to_s > at_s);
  if (!later.length) return null;
  return later.reduce((best, view) => (view.seen_from_s < best.seen_from_s ? view : best)).key;
}

// The next (by 1) or previous (by -1) view at the same instant; those that do not reach it are
// passed over unless none does.
export function neighbour(views, at_s, key, by) {
  const order = views.filter((view) => view.key === key || reaches(view, at_s));
  const all = order.length > 1 ? order : views;
  const at = all.findIndex((view) => view.key === key);
  return all[(at + by + all.length) % all.length].key;
}
