// Each station takes dropped or chosen files and sends them; says how fast and how long still.

import { newId } from "../portal/new-id.js";
import { filesDropped } from "./upload-drop.js";
import { newLine, showLine } from "./upload-line.js";
import { UploadQueue } from "./upload-queue.js";
import { bytesInWords, fill, sortOut, speedOf, timeLeft } from "./upload-words.js";

const language = document.documentElement.lang;
const queues = [];
const ASK_AGAIN_MS = 3000;

class Station {
  constructor(root) {
    this.root = root;
    this.words = root.dataset;
    this.form = root.querySelector("form");
    this.samples = [];
    this.queue = new UploadQueue({
      endpoint: root.dataset.endpoint,
      token: this.form.elements.csrfmiddlewaretoken.value,
      told: (item) => this.show(item),
      done: () => root.dispatchEvent(new CustomEvent("bring-in:changed", { bubbles: true })),
    });
    queues.push(this.queue);
    this.listen();
  }

  listen() {
    const input = this.form.elements.files;
    const drop = this.root.querySelector("[data-drop]");
    this.root.querySelector("[data-without-script]").hidden = true;
    this.form.addEventListener("submit", (event) => event.preventDefault());
    const chosen = () => {
      this.take([...input.files]);
      input.value = "";
    };
    input.addEventListener("change", chosen);
    if (input.files.length) chosen(); // chosen before this script had come
    for (const type of ["dragover", "dragleave", "drop"]) {
      this.root.addEventListener(type, (event) => {
        event.preventDefault();
        drop.classList.toggle("over", type === "dragover");
      });
    }
    this.root.addEventListener("drop", async (event) => {
      this.take(await filesDropped(event.dataTransfer));
    });
    this.root.querySelector("[data-pause]").addEventListener("click", (event) => {
      if (this.queue.paused) this.queue.resume();
      else this.queue.pause();
      const next = this.queue.paused ? this.words.wordsResume : this.words.wordsPause;
      event.currentTarget.textContent = next;
    });
  }

  async take(chosen) {
    const files = chosen.filter((file) => !this.queue.holds(file));
    if (!files.length) return;
    const camera = this.form.elements.camera.value; // as it stands while they are chosen
    const items = files.map((file) => this.queue.hold({ file, url: null, id: null }));
    const { found, card, cardFiles } = sortOut(files, await this.known(items), newId());
    items.forEach((item, number) => {
      const { file } = item;
      const row = found[number];
      const open = row && row.state === "open";
      this.queue.letGo(item, {
        url: open ? row.url : null,
        id: row ? row.id : null,
        state: row && !open ? "known" : "waiting",
        sent: row && !open ? file.size : 0,
        metadata: {
          filename: file.name,
          station: this.words.uploadStation,
          camera,
          card,
          card_files: String(cardFiles),
          modified: String(file.lastModified),
        },
      });
    });
  }

  // What the server has already. Without a connection it is asked until there is an answer: what is
  // half there goes on, and nothing that was chosen is lost.
  async known(items) {
    for (;;) {
      try {
        const response = await fetch(this.words.knownUrl, { credentials: "same-origin" });
        if (response.ok) return (await response.json()).uploads;
        if (response.status < 500) return [];
      } catch {
        // no connection, or another page: signed out
      }
      for (const item of items) this.show(Object.assign(item, { state: "again" }));
      await new Promise((done) => window.setTimeout(done, ASK_AGAIN_MS));
    }
  }

  show(item) {
    this.root.querySelector("[data-sending]").hidden = false;
    if (!item.line) this.root.querySelector("[data-queue]").append((item.line = newLine(item)));
    showLine(item, this.words, language);
    this.total();
  }

  total() {
    const items = this.queue.items.filter((one) => one.state !== "refused");
    const size = items.reduce((sum, one) => sum + one.file.size, 0);
    const sent = items.reduce((sum, one) => sum + one.sent, 0);
    const over = this.queue.open.length === 0;
    this.root.querySelector("[data-all]").value = size ? sent / size : 1;
    this.root.querySelector("[data-pause]").hidden = over;
    if (this.queue.paused) this.samples = [];
    else this.samples = [...this.samples, [performance.now(), sent]].slice(-400);
    const speed = speedOf(this.samples);
    const words = { seconds: this.words.wordsSeconds, minutes: this.words.wordsMinutes };
    this.root.querySelector("[data-total]").textContent = over
      ? ""
      : fill(this.words.wordsSending, {
          percent: Math.floor((100 * sent) / Math.max(size, 1)),
          size: bytesInWords(size, language),
          speed: bytesInWords(speed, language),
          left: timeLeft((size - sent) / speed, { ...words, hours: this.words.wordsHours }, language),
        });
  }
}

for (const root of document.querySelectorAll("[data-upload-station]")) new Station(root);
window.addEventListener("beforeunload", (event) => {
  if (queues.some((queue) => queue.open.length && !queue.paused)) event.preventDefault();
});
