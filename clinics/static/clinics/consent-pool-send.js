// Answers that swimmers gave on this phone, kept on it until the server has them. Sending needs the
// sign-in and the pass with which the phone was made ready; without them everything stays.

import { meaning } from "./start-log-batch.js";

const AGAIN_MS = 4000;
const PATIENCE_MS = 12_000;

export class Answers {
  // `changed(state)`: "idle", "no-network", "signed-out".
  constructor({ store, url, stateUrl, token, changed }) {
    Object.assign(this, { store, url, stateUrl, token, changed });
    Object.assign(this, { state: "idle", busy: false, timer: 0 });
  }

  waiting() {
    return this.store.waiting(["answer"]);
  }

  refused() {
    return this.store.items.filter((item) => item.kind === "answer" && item.state === "refused");
  }

  // In the order in which they were given, one at a time.
  async flush() {
    if (this.busy) return;
    this.busy = true;
    window.clearTimeout(this.timer);
    try {
      this.state = "idle";
      for (const item of this.waiting().sort((a, b) => a.at_ms - b.at_ms)) {
        if (!(await this.send(item))) break;
      }
    } catch {
      this.state = "no-network";
    } finally {
      this.busy = false;
    }
    this.changed(this.state);
    if (this.waiting().length) this.timer = window.setTimeout(() => this.flush(), AGAIN_MS);
  }

  // False: nothing can be sent for now.
  async send(item, again = true) {
    this.token ||= await this.newToken();
    const body = new URLSearchParams({ ...item.body, client_id: item.id });
    body.set("pass", this.store.record.pool?.pass ?? "");
    body.set("csrfmiddlewaretoken", this.token);
    const response = await this.ask(this.url, { method: "POST", body });
    const said = meaning(response.status);
    if (said === "ok") {
      await this.store.remove([item]).catch(() => {});
      return true;
    }
    if (said === "server") throw new Error(`${response.status}`);
    if (said === "refused") {
      const told = await response.json().catch(() => ({}));
      await this.store.settle([item], "refused", told.errors ?? [`${response.status}`]).catch(() => {});
      return true;
    }
    // A token may be older than the sign-in; then another one helps. Else nothing is dropped: who
    // may not send now (signed out, no pass, not at this clinic) keeps it.
    this.token = again ? await this.newToken() : "";
    if (this.token) return this.send(item, false);
    this.state = "signed-out";
    return false;
  }

  async newToken() {
    const response = await this.ask(this.stateUrl, { cache: "no-store" });
    return response.ok ? (await response.json()).csrf : "";
  }

  ask(url, options) {
    return fetch(url, {
      headers: { Accept: "application/json" },
      credentials: "same-origin",
      redirect: "error",
      signal: AbortSignal.timeout?.(PATIENCE_MS),
      ...options,
    });
  }
}
