// What is sent at once, and what an answer says of it. No network and no storage in here.

const AT_ONCE = 400; // of each list; the server takes up to 2000
const LISTS = { line: "lines", wish: "wishes", "station-word": "station_words" };
const UNNAMED = { exchange: "exchanges", scan: "scans" }; // the server names none of them again
export const KINDS = [...Object.keys(LISTS), "undone", ...Object.keys(UNNAMED)];
export const TOLD = ["line", "undone", "wish", "station-word"]; // what a person put in

// { body, sent }: `sent` are the items in it, as they were.
export function batchOf(items, phone) {
  const waiting = (kind) =>
    items.filter((item) => item.kind === kind && item.state === "waiting").slice(0, AT_ONCE);
  const body = { undone: waiting("undone").map((item) => item.id) };
  const sent = [...waiting("undone")];
  for (const [kind, list] of Object.entries(LISTS)) {
    body[list] = waiting(kind).map((item) => ({ client_id: item.id, ...item.body }));
    sent.push(...waiting(kind));
  }
  for (const [kind, list] of Object.entries(UNNAMED)) {
    body[list] = waiting(kind).map((item) => item.body);
    sent.push(...waiting(kind));
  }
  const all = items.filter((item) => TOLD.includes(item.kind) && item.state === "waiting");
  const unsent = all.length - sent.filter((item) => TOLD.includes(item.kind)).length;
  return { body: { phone: { ...phone, unsent }, ...body }, sent: sent.map((one) => ({ ...one })) };
}

// { kept, refused: [{ item, errors }], done }: `done` were exchanges and scans, which may go. A line
// and its undoing have one id: what is refused under it is whichever kind the server names.
export function answered(sent, answer) {
  const kept = new Set(answer.kept ?? []);
  const refused = answer.refused ?? [];
  const why = (item) =>
    refused.find((one) => one.client_id === item.id && (one.list ?? item.kind) === item.kind);
  const told = sent.filter((item) => TOLD.includes(item.kind));
  return {
    kept: told.filter((item) => !why(item) && kept.has(item.id)),
    refused: told.filter(why).map((item) => ({ item, errors: why(item).errors ?? [] })),
    done: sent.filter((item) => item.kind in UNNAMED),
  };
}

// What a status means for the phone: "ok", "signed-out", "not-yours", "refused" or "server".
export function meaning(status) {
  if (status >= 200 && status < 300) return "ok";
  if (status === 401 || status === 403) return "signed-out";
  if (status === 404) return "not-yours";
  if (status >= 500 || status === 429 || status === 408) return "server";
  return "refused";
}
