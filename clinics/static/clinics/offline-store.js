// What the pages of the pool keep in this browser, so that a start or an answer is on the phone
// before the screen says so. Everything belongs to one clinic; offline-forget.js takes it away.

import { keep } from "../portal/keeps.js";
import { openDB } from "../portal/vendor/idb/idb.js";

const NAME = "sidelane-pool";
const VERSION = 1;
export const STORES = ["phone", "clinics", "items"];
export const STRICT = { durability: "strict" }; // on the disk, not only on its way there

let opened = null;
let closed = false;

// Somebody signs out in another tab: from now on this page keeps nothing any more.
export function closeStore() {
  closed = true;
}

export const isClosed = () => closed;

export function database() {
  if (closed) return Promise.reject(new Error("signed out"));
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
  opened.then(keep, () => (opened = null));
  return opened;
}

// Another page of this phone may have noted other facts meanwhile: those stay as they are there.
async function merge(name, key, known, facts) {
  const db = await database();
  const { store, done } = db.transaction(name, "readwrite");
  const value = { ...known, ...(await store.get(key)), ...facts };
  await Promise.all([store.put(value, ...(store.keyPath ? [] : [key])), done]);
}

const isSame = (one, other) => one.kind === other.kind && one.id === other.id;
const text = (item) => JSON.stringify(item.body);

// One clinic's part of it, mirrored in memory so that a page can draw at once. Where the browser
// keeps nothing (`works` is false, a write fails) the memory still holds what is to be sent.
export class Store {
  constructor(clinic) {
    this.clinic = clinic;
    this.items = [];
    this.record = { clinic };
    this.phone = {};
    this.works = false;
    this.writing = new Set(); // items that are on their way to the disk
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
      const here = await db.getAllFromIndex("items", "clinic", this.clinic);
      // What no disk took, and what is being written: it came too late for what was read.
      const own = this.items.filter((item) => item.unkept || this.writing.has(item));
      this.items = [...here.filter((item) => !own.some((one) => isSame(one, item))), ...own];
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
    this.items = [...this.items.filter((one) => !isSame(one, item)), item];
    this.writing.add(item);
    try {
      await this.write((store) => store.put(item));
    } catch (error) {
      item.unkept = true;
      throw error;
    } finally {
      this.writing.delete(item);
    }
    return item;
  }

  // What the server said of items: "kept", or "refused" with sentences. An item that was changed
  // since it was sent (`sent` is what was sent) stays waiting, here or in another tab.
  async settle(sent, state, errors = []) {
    const now = sent.map((one) => this.find(one.kind, one.id));
    const same = now.filter((item, n) => item && text(item) === text(sent[n]));
    for (const item of same) Object.assign(item, { state, errors });
    await this.write((store) => Promise.all(same.map(async (item) => {
      const there = await store.get([item.kind, item.id]);
      if (!there || text(there) === text(item)) return store.put(item);
      this.items = this.items.map((one) => (one === item ? there : one));
    })));
  }

  find(kind, id) {
    return this.items.find((item) => item.kind === kind && item.id === id);
  }

  async remove(items) {
    this.items = this.items.filter((item) => !items.some((one) => isSame(one, item)));
    await this.write((store) => items.forEach((item) => store.delete([item.kind, item.id])));
  }

  // Merges into what is known of the clinic: its day, addresses, the newest state, the pass.
  async note(facts) {
    Object.assign(this.record, facts);
    await merge("clinics", this.clinic, this.record, facts);
  }

  async notePhone(facts) {
    Object.assign(this.phone, facts);
    await merge("phone", "own", this.phone, facts);
  }

  waiting(kinds) {
    return this.items.filter((item) => kinds.includes(item.kind) && item.state === "waiting");
  }

  // A page that is closed now would lose something.
  isOnNoDisk() {
    return !closed && this.items.some((item) => item.unkept && item.state === "waiting");
  }

  async write(act) {
    const db = await database();
    const tx = db.transaction("items", "readwrite", STRICT);
    await Promise.all([act(tx.store), tx.done]);
  }
}
