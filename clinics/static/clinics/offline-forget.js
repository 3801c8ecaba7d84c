// Takes away what the pages of the pool keep in this browser: all of it when somebody signs out, and
// every name two weeks after the clinic's day.

import { database, STORES, STRICT } from "./offline-store.js";

export const KEPT_DAYS = 14; // after the clinic's day
const DAY_MS = 86_400_000;

export async function everything() {
  const db = await database();
  return { records: await db.getAll("clinics"), items: await db.getAll("items") };
}

export async function forgetAll() {
  const db = await database();
  const tx = db.transaction(STORES, "readwrite", STRICT);
  for (const name of STORES) tx.objectStore(name).clear();
  await tx.done;
}

export function isOver(day, nowMs) {
  return Boolean(day) && nowMs > Date.parse(`${day}T00:00:00Z`) + (KEPT_DAYS + 1) * DAY_MS;
}

// Two weeks after the day nobody's name is needed any more, and no answer is taken any more.
// A start that is still not sent stays, with its number alone: nothing is lost by waiting.
export async function forgetOld(nowMs = Date.now()) {
  const { records, items } = await everything();
  const over = records.filter((one) => isOver(one.day, nowMs)).map((one) => one.clinic);
  if (!over.length) return [];
  const db = await database();
  const tx = db.transaction(STORES, "readwrite", STRICT);
  for (const clinic of over) tx.objectStore("clinics").delete(clinic);
  for (const item of items) {
    const start = ["line", "undone"].includes(item.kind) && item.state === "waiting";
    if (over.includes(item.clinic) && !start) tx.objectStore("items").delete([item.kind, item.id]);
  }
  await tx.done;
  return over;
}
