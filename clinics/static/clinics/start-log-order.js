// Who is next: as the server last planned it (`nextUp`, numbers in order; a second go stands there
// as well), less what was tapped on this phone since. No page and no clock in here.

const WENT = ["away", "not-filmed"];
const AFTER_GROUP = 1, AGAIN = 2;

export function went(line) {
  return WENT.includes(line.outcome);
}

// Each swimmer once, as first named.
export function swimmersOf(entries) {
  const byNumber = new Map();
  for (const entry of entries) if (!byNumber.has(entry.number)) byNumber.set(entry.number, entry);
  return [...byNumber.values()];
}

// What was wished last for each number: { late, again }, each a wish, or null if taken back.
export function wishesByNumber(wishes) {
  const told = new Map();
  for (const wish of [...wishes].sort((a, b) => a.at_ms - b.at_ms)) {
    const its = told.get(wish.number) ?? {};
    its[wish.kind === "late" ? "late" : "again"] = wish.gone ? null : wish;
    told.set(wish.number, its);
  }
  return told;
}

function linesByNumber(lines) {
  const told = new Map();
  for (const line of [...lines].sort((a, b) => a.instant_ms - b.instant_ms)) {
    if (line.undone || line.number === null) continue;
    told.set(line.number, [...(told.get(line.number) ?? []), line]);
  }
  return told;
}

// The group in which somebody went last; those who were left over from earlier ones come after it.
function groupNow(swimmers, said) {
  const gone = [...said.values()].flat().filter(went);
  if (!gone.length) return swimmers[0]?.group;
  const last = gone.reduce((a, b) => (b.instant_ms > a.instant_ms ? b : a));
  return swimmers.find((one) => one.number === last.number)?.group;
}

// Where a swimmer stands: places in the planned order that are still theirs, with what else is to
// be known. `told`: the server planned with all of these lines and wishes.
function standing(entry, lines, wish, places, told, nowMs) {
  const last = lines.at(-1);
  const lastGo = lines.filter(went).at(-1);
  const { late, again } = wish ?? {};
  if (!lastGo && late && late.from_ms > nowMs && !(last && last.instant_ms > late.at_ms))
    return { later: late.from_ms };
  const since = told ? [] : lines.filter((line) => !line.told && went(line));
  const left = places.slice(since.length);
  if (lastGo) {
    if (told || (again !== null && left.length)) return { places: left, why: "again" };
    const wanted = again && again.at_ms > lastGo.instant_ms;
    return wanted ? { stage: AGAIN, at: again.at_ms, why: "again" } : {};
  }
  const why = last?.outcome === "skipped" ? "skipped" : late ? "late" : "";
  if (told) return { places: left, why };
  if (last?.outcome === "no-show" && !(late && late.at_ms > last.instant_ms)) return {};
  if (last?.outcome === "skipped") return { stage: AFTER_GROUP, at: last.instant_ms, why };
  if (late) return { stage: AFTER_GROUP, at: late.from_ms, why };
  return { places: left.length ? left : [-1], why }; // taken back: stands there, and goes now
}

// { next: [{entry, why}], later: [{entry, from_ms}] }; why is "", "skipped", "late" or "again".
// Lines with `told` are in the log with which `nextUp` was made; `changed` are numbers of whom
// this phone said something since.
export function upNext({ entries, nextUp, lines, wishes = [], changed = new Set(), nowMs }) {
  const swimmers = swimmersOf(entries);
  const said = linesByNumber(lines);
  const wished = wishesByNumber(wishes);
  const order = nextUp ?? swimmers.map((entry) => entry.number);
  const now = groupNow(swimmers, said);
  const inPlace = [], after = [], later = [];
  for (const entry of swimmers) {
    const { number } = entry;
    const places = order.flatMap((one, place) => (one === number ? [place] : []));
    const told = Boolean(nextUp) && !changed.has(number);
    const its = (said.get(number) ?? []).map((line) => (nextUp ? line : { ...line, told: false }));
    const stands = standing(entry, its, wished.get(number), places, told, nowMs);
    if (stands.later !== undefined) later.push({ entry, from_ms: stands.later });
    else if (stands.stage) after.push({ entry, ...stands });
    else for (const at of stands.places ?? []) inPlace.push({ entry, why: stands.why, at });
  }
  inPlace.sort((a, b) => a.at - b.at);
  after.sort((a, b) => a.stage - b.stage || a.at - b.at);
  later.sort((a, b) => a.from_ms - b.from_ms);
  const next = withThoseAfter(inPlace, after, now);
  return { next: next.map(({ entry, why }) => ({ entry, why })), later };
}

// Behind the last of their own group who is still to go; if it is through, of the group that goes
// now; if that is through as well, they are next.
function withThoseAfter(inPlace, after, now) {
  const lastOf = (group) => inPlace.findLastIndex((one) => one.entry.group === group);
  const behind = new Map();
  for (const one of after) {
    const own = lastOf(one.entry.group);
    const place = own >= 0 ? own : lastOf(now);
    behind.set(place, [...(behind.get(place) ?? []), one]);
  }
  const put = (place) => behind.get(place) ?? [];
  return [...put(-1), ...inPlace.flatMap((one, place) => [one, ...put(place)])];
}
