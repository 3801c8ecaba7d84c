// What there is to know of this phone: what is still to be sent, how well its clock is known,
// whether the page opens without a network, how the others call it, and what it could not keep.

import { accuracyWords } from "./start-log-offset.js";
import { parts, setText } from "./start-log-words.js";

export class Phone {
  constructor(page, { log, clock, sync, store, words }) {
    Object.assign(this, { page, log, clock, sync, store, words, part: parts(page) });
    Object.assign(this, { lost: [], ready: "not-ready", sentSome: false });
    const name = this.part("phone-name");
    name.value = store.phone.name ?? "";
    name.addEventListener("change", () => {
      store.notePhone({ name: name.value.trim() }).catch(() => {});
      sync.heardMs = -Infinity; // tell the others now
      sync.soon();
    });
    this.part("phone-part").hidden = false;
    this.offerInstall();
  }

  offerInstall() {
    const button = this.part("install");
    const apart = window.matchMedia("(display-mode: standalone)").matches;
    this.part("install-hint").hidden = apart;
    let asked = null;
    window.addEventListener("beforeinstallprompt", (event) => {
      event.preventDefault();
      asked = event;
      button.hidden = false;
      this.part("install-hint").hidden = true;
    });
    button.addEventListener("click", () => {
      asked?.prompt();
      button.hidden = true;
    });
  }

  // What is on no disk: said until it is sent, since a closed page would lose it.
  lose(what, clientId) {
    this.lost.push({ what, clientId });
    this.draw();
  }

  draw() {
    const { part, words, store, lost } = this;
    this.drawNet();
    const open = lost.filter(({ clientId }) => this.isUnsent(clientId));
    part("unkept").hidden = !open.length;
    const what = open.map((one) => one.what).join("; ");
    setText(part("unkept"), open.length ? words.say("unkept", { what }) : "");
    setText(part("ready-words"), words.say(store.works ? this.ready : "no-store"));
    part("ready-words").classList.toggle("look", !store.works || this.ready !== "ready");
    this.drawClock();
  }

  isUnsent(clientId) {
    return this.store.items.some((item) => item.id === clientId && item.state === "waiting");
  }

  drawNet() {
    const { part, words, sync } = this;
    const n = sync.waiting().length;
    this.sentSome ||= n > 0;
    const names = {
      "no-network": n ? "no-network" : "no-network-all-sent",
      "signed-out": "sign-in",
      "not-yours": "not-yours",
      server: "server",
      refused: "server",
    };
    const name = names[sync.state] ?? (n ? "to-send" : "all-sent");
    const net = part("net");
    net.hidden = name === "all-sent" && !this.sentSome;
    net.classList.toggle("waiting", n > 0 || name !== "all-sent");
    const text = words.say(name, { n });
    if (net.dataset.text === text) return;
    net.dataset.text = text;
    net.textContent = text;
    if (name === "sign-in") net.append(" ", this.signIn());
  }

  signIn() {
    const link = document.createElement("a");
    link.textContent = this.words.say("sign-in-link");
    const url = new URL(this.page.dataset.signInUrl, location.href);
    url.searchParams.set("next", this.page.dataset.logUrl);
    link.href = url.href;
    return link;
  }

  drawClock() {
    const { part, words, clock } = this;
    const [name, n] = accuracyWords(clock.accuracy());
    setText(part("clock-words"), words.say(`clock-${name}`, { n }));
    const more = ["bridged", "unknown"].includes(name) ? name : "measured";
    const at = clock.ahead ? words.time(clock.ahead.at_wall_ms + clock.ahead.ahead_ms) : "";
    setText(part("clock-more"), words.say(`clock-more-${more}`, { at }));
  }
}
