// What was tapped and is not sent yet, kept on this phone. Each entry is sent until the server
// has it; sending twice changes nothing there, since each carries an id made here.

const AGAIN_MS = 4000;

export class Queue {
  // `send(entry)` resolves to "kept", "refused", "signed-out" or rejects when there is no network.
  constructor(key, send, changed) {
    this.key = key;
    this.send = send;
    this.changed = changed;
    this.state = "idle";
    this.busy = false;
    this.timer = 0;
  }

  entries() {
    try {
      return JSON.parse(window.localStorage.getItem(this.key)) ?? [];
    } catch {
      return [];
    }
  }

  write(entries) {
    window.localStorage.setItem(this.key, JSON.stringify(entries));
    this.changed(entries, this.state);
  }

  add(entry) {
    this.write([...this.entries(), entry]);
    this.flush();
  }

  drop(entry) {
    const same = (one) => one.what === entry.what && one.client_id === entry.client_id;
    this.write(this.entries().filter((one) => !same(one)));
  }

  // In the order in which they were tapped, one at a time.
  async flush() {
    if (this.busy) return;
    this.busy = true;
    window.clearTimeout(this.timer);
    try {
      for (let entry = this.entries()[0]; entry; entry = this.entries()[0]) {
        const outcome = await this.send(entry);
        if (outcome === "signed-out") {
          this.state = outcome;
          break;
        }
        this.state = "idle";
        this.drop(entry);
      }
    } catch {
      this.state = "no-network";
    } finally {
      this.busy = false;
    }
    const left = this.entries();
    this.changed(left, this.state);
    if (left.length) this.timer = window.setTimeout(() => this.flush(), AGAIN_MS);
  }
}
