// Sends one entry of the start log, and remembers for a while what was sent.

const JUST_NOW_MS = 60000;

export class Sender {
  // `refused(entry, sentences)` is called when the server does not take an entry.
  constructor({ clinic, logUrl, undoUrl, token, refused }) {
    Object.assign(this, { logUrl, undoUrl, token, refused });
    this.key = `start-log-sent-${clinic}`;
  }

  // "kept", "refused" or "signed-out"; throws when there is no network or no server.
  async send(entry) {
    const { what, ...fields } = entry;
    const response = await fetch(what === "undo" ? this.undoUrl : this.logUrl, {
      method: "POST",
      headers: { Accept: "application/json" },
      credentials: "same-origin",
      body: new URLSearchParams({ ...fields, csrfmiddlewaretoken: this.token }),
    });
    if (response.status === 401 || response.status === 403) return "signed-out";
    if (response.status >= 500) throw new Error(`${response.status}`);
    if (response.ok) {
      this.remember(entry);
      return "kept";
    }
    const told = await response.json().catch(() => ({ errors: [`${response.status}`] }));
    this.refused(entry, told.errors ?? []);
    return "refused";
  }

  // A page that was asked for while a tap was on its way does not show it: this does, for a while.
  justSent() {
    const since = Date.now() - JUST_NOW_MS;
    const sent = JSON.parse(window.localStorage.getItem(this.key) ?? "[]");
    return sent.filter((one) => one.at > since);
  }

  remember({ what, client_id, number }) {
    const others = this.justSent().filter((one) => one.client_id !== client_id);
    const sent = what === "undo" ? others : [...others, { client_id, number, at: Date.now() }];
    window.localStorage.setItem(this.key, JSON.stringify(sent));
  }
}
