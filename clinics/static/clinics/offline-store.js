// What the pages of the pool keep in this browser, so that a start or an answer is on the phone
// before the screen says so. Everything belongs to one clinic; `forgetAll` takes it all away.

import { openDB } from "../portal/vendor/idb/idb.js";

const NAME = "sidelane-pool";
const VERSION = 1;
const STORES = ["phone", "clinics", "items"];
const STRICT = { durability: "strict" }; // on the disk, not only on its way there
export const CHANNEL = "sidelane-pool";
export const KEPT_DAYS = 14; // after the clinic's day
const DAY_MS = 86_400_000;

let opened = null;

function database() {
  opened ??= openDB(NAME, VERSION, {
    upgrade(db) {
      db.createObjectStore("phone");
      db.createObjectStore("clinics", { keyPath: "clinic" });
      db.createObjectStore("items", { keyPath: ["kind", "id"] }).createIndex("clinic", "clinic");
    },
    terminated() {
      opened = null;
    },
  });
  opened.catch(() => (opened = null));
  return opened;
}

// One clinic's part of it, mirrored in memory so that a page can draw at once. Where the browser
// keeps nothing (`works` is false, or a write fails) the memory still holds what is to be sent.
export class Store {
  constructor(clinic) {
    this.clinic = clinic;
    this.items = [];
    this.record = { clinic };
    this.phone = {};
    this.works = false;
  }

  static async open(clinic) {
    const store = new Store(clinic);
    await store.reload();
    return store;
  }

  // As it stands on the disk: another page of the same phone may have kept something meanwhile.
  async reload() {
    try {
      const db = await database();
      const unkept = this.items.filter((item) => item.unkept);
      const here = await db.getAllFromIndex("items", "clinic", this.clinic);
      this.items = [...here, ...unkept];
      this.record = (await db.get("clinics", this.clinic)) ?? { clinic: this.clinic };
      this.phone = (await db.get("phone", "own")) ?? {};
      this.works = true;
    } catch {
      this.works = false;
    }
  }

  // Rejects if the disk did not take it; then it is in memory alone, marked as such.
  async keep(kind, id, body, at_ms) {
    const item = { kind, id, clinic: this.clinic, state: "waiting", at_ms, body, errors: [] };
    this.items = [...this.items.filter((one) => one.kind !== kind || one.id !== id), item];
    try {
      await this.write((store) => store.put(item));
    } catch (error) {
      item.unkept = true;
      throw error;
    }
    return item;
  }

  // What the server said of items: "kept", or "refused" with sentences. An item that was changed
  // since it was sent (`sent` is what was sent) stays waiting.
  async settle(sent, state, errors = []) {
    const now = sent.map((one) => this.find(one.kind, one.id));
    const text = (item) => JSON.stringify(item.body);
    const same = now.filter((item, n) => item && text(item) === text(sent[n]));
    for (const item of same) Object.assign(item, { state, errors });
    await this.write((store) => same.forEach((item) => store.put(item)));
  }

  find(kind, id) {
    return this.items.find((item) => item.kind === kind && item.id === id);
  }

  async remove(items) {
    this.items = this.items.filter((item) => !items.includes(item));
    await this.write((store) => items.forEach((item) => store.delete([item.kind, item.id])));
  }

  // Merges into what is known of the clinic: its day, addresses, the newest state, the pass.
  async note(facts) {
    Object.assign(this.record, facts);
    const db = await database();
    await db.put("clinics", this.record);
  }

  async notePhone(facts) {
    Object.assign(this.phone, facts);
    const db = await database();
    await db.put("phone", this.phone, "own");
  }

  waiting(kinds) {
    return this.items.filter((item) => kinds.includes(item.kind) && item.state === "waiting");
  }

  async write(act) {
    const db = await database();
    const tx = db.transaction("items", "readwrite", STRICT);
    act(tx.store);
    await tx.done;
  }
}

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
