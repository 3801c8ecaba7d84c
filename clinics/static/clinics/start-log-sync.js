// Sends what this phone keeps, any number of times, and asks for the log as the server has it.
// Nothing leaves the phone's keeping before the server has said that it has it.

import { answered, batchOf, KINDS, meaning, TOLD } from "./start-log-batch.js";

const PATIENCE_MS = 12_000;
const AGAIN_MS = [3000, 6000, 12_000];
const FRESH_MS = 20_000; // how old the log of the others may get
const HEARD_MS = 60_000; // the day board says when each phone was last heard

class Said extends Error {}

export class Sync {
  // `changed()` is told after every step; `state` is "idle", "sending", "no-network", "signed-out",
  // "not-yours" or "server".
  constructor({ store, stateUrl, syncUrl, changed }) {
    Object.assign(this, { store, stateUrl, syncUrl, changed });
    Object.assign(this, { state: "idle", csrf: "", failed: 0, busy: null, timer: 0 });
    Object.assign(this, { askedMs: -Infinity, heardMs: -Infinity, words: [] });
  }

  get key() {
    return this.store.phone.key;
  }

  waiting() {
    return this.store.waiting(TOLD);
  }

  // Now, or as soon as what is under way is through.
  soon() {
    this.stop();
    this.timer = window.setTimeout(() => this.round(), 30);
  }

  stop() {
    window.clearTimeout(this.timer);
  }

  round() {
    this.busy ??= this.once().finally(() => {
      this.busy = null;
      this.changed();
    });
    return this.busy;
  }

  async once() {
    this.stop();
    try {
      if (!this.csrf || this.isOld()) await this.refresh();
      let sent = false;
      while (this.store.waiting(KINDS).length && (await this.send())) sent = true;
      if (performance.now() - this.heardMs > HEARD_MS) await this.send();
      if (sent) await this.refresh();
      this.state = "idle";
      this.failed = 0;
    } catch (error) {
      this.state = error instanceof Said ? error.message : "no-network";
      this.failed += 1;
    }
    const left = this.store.waiting(KINDS).length || this.failed;
    const again = AGAIN_MS[Math.min(this.failed, AGAIN_MS.length) - 1] ?? AGAIN_MS[0];
    this.timer = window.setTimeout(() => this.round(), left ? again : FRESH_MS);
  }

  isOld() {
    return performance.now() - this.askedMs > FRESH_MS;
  }

  async refresh() {
    const url = new URL(this.stateUrl, location.href);
    url.searchParams.set("phone", this.key);
    const { csrf, ...state } = await this.ask(url); // the token is kept in memory alone
    this.csrf = csrf;
    this.askedMs = performance.now();
    await this.store.note({ state }).catch(() => {});
    this.changed();
  }

  // False when nothing of it was taken: then there is no use in going on at once.
  async send(again = true) {
    const phone = { key: this.key, name: this.store.phone.name ?? "" };
    const { body, sent } = batchOf(this.store.items, phone);
    if (this.waiting().length) this.state = "sending";
    this.changed();
    let answer;
    try {
      answer = await this.ask(this.syncUrl, body);
    } catch (error) {
      if (!again || error.message !== "signed-out") throw error;
      await this.refresh(); // a token may be older than the sign-in: then it is this alone
      return this.send(false);
    }
    this.csrf = answer.csrf || this.csrf;
    this.heardMs = performance.now();
    const { kept, refused, done } = answered(sent, answer);
    await this.store.settle(kept, "kept").catch(() => {});
    for (const { item, errors } of refused)
      await this.store.settle([item], "refused", errors).catch(() => {});
    const gone = done.map((one) => this.store.find(one.kind, one.id)).filter(Boolean);
    await this.store.remove(gone).catch(() => {});
    if (answer.conflicts && this.store.record.state)
      this.store.record.state.conflicts = answer.conflicts;
    return kept.length + refused.length + done.length > 0;
  }

  async ask(url, body) {
    const response = await fetch(url, {
      method: body ? "POST" : "GET",
      headers: body
        ? { Accept: "application/json", "Content-Type": "application/json", "X-CSRFToken": this.csrf }
        : { Accept: "application/json" },
      credentials: "same-origin",
      cache: "no-store",
      redirect: "error",
      body: body && JSON.stringify(body),
      signal: AbortSignal.timeout?.(PATIENCE_MS),
    });
    const said = meaning(response.status);
    if (said === "ok") return response.json();
    if (said === "refused") this.words = (await response.json().catch(() => ({}))).errors ?? [];
    throw new Said(said);
  }
}
