// The log as it stands: what the server has, and what this phone keeps of its own. No page, no
// storage in here. An item is { kind, id, clinic, state, at_ms, body, errors }; its state is
// "waiting", "kept" (the server has it) or "refused".

const ids = (items, kind, states) =>
  new Set(items.filter((i) => i.kind === kind && states.includes(i.state)).map((i) => i.id));

// Lines in order of time: { client_id, number, outcome, note, instant_ms, undone, sent, mine, … }.
export function mergedLines(serverLines, items) {
  const undone = ids(items, "undone", ["waiting", "kept"]);
  const here = new Map(items.filter((i) => i.kind === "line").map((i) => [i.id, i]));
  const merged = serverLines.map((line) => {
    const own = here.get(line.client_id);
    const noteWaits = own?.state === "waiting" && own.body.note;
    return {
      ...line,
      note: noteWaits ? own.body.note : line.note,
      undone: line.undone || undone.has(line.client_id),
      mine: line.mine || Boolean(own && !own.body.elsewhere),
      sent: own?.state !== "waiting",
      told: true,
    };
  });
  const known = new Set(serverLines.map((line) => line.client_id));
  for (const item of here.values()) {
    if (known.has(item.id) || item.state === "refused" || item.body.elsewhere) continue;
    const { number, outcome, note, guess_ms: instant_ms } = item.body;
    merged.push({
      client_id: item.id,
      number,
      outcome,
      note,
      instant_ms,
      u_ms: null,
      clock: "",
      doubtful: false,
      undone: undone.has(item.id),
      phone: "",
      mine: true,
      sent: item.state === "kept",
      unkept: Boolean(item.unkept),
    });
  }
  return merged.sort((a, b) => a.instant_ms - b.instant_ms);
}

// What was last said of each station, here or elsewhere: station id -> { state, at_ms, sent }.
export function stationWords(serverWords, items) {
  const told = new Map();
  const take = (word) => {
    const before = told.get(word.station);
    if (!before || word.at_ms >= before.at_ms) told.set(word.station, word);
  };
  for (const word of serverWords) take({ ...word, sent: true });
  for (const item of items) {
    if (item.kind !== "station-word" || item.state === "refused") continue;
    const { station, state } = item.body;
    take({ station, state, at_ms: item.at_ms, sent: item.state === "kept" });
  }
  return told;
}

export function wishesOf(items) {
  const own = items.filter((item) => item.kind === "wish" && item.state !== "refused");
  return own.map((item) => ({ ...item.body, at_ms: item.at_ms }));
}

// Numbers of whom this phone said something that the server has not told back yet.
export function changedNumbers(serverLines, items) {
  const known = new Map(serverLines.map((line) => [line.client_id, line]));
  const changed = new Set();
  for (const { kind, id, state, body } of items) {
    if (state === "refused") continue;
    const line = known.get(id);
    if (kind === "line" && !line && !body.elsewhere) changed.add(body.number);
    if (kind === "undone" && line && !line.undone) changed.add(line.number);
    if (kind === "wish" && state === "waiting") changed.add(body.number);
  }
  return changed;
}

// The consent sign of an entry: { agrees, at_ms, here }. An answer that was given on this phone
// and is not sent yet is newer than what the server told.
export function consentOf(entry, answers) {
  const given = answers
    .filter((item) => Number(item.body.number) === entry.number && item.state === "waiting")
    .filter((item) => item.at_ms > entry.agrees_at_ms && "version-film-and-review" in item.body)
    .sort((a, b) => a.at_ms - b.at_ms)
    .at(-1);
  if (!given) return { agrees: entry.agrees, at_ms: entry.agrees_at_ms, here: false };
  return { agrees: "film-and-review" in given.body, at_ms: given.at_ms, here: true };
}

// A filmed go of somebody who may not be filmed is logged as what it was.
export function awayOutcome(agrees, filmed = true) {
  return agrees && filmed ? "away" : "not-filmed";
}
