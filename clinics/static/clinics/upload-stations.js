// Each station takes dropped or chosen files and sends them; says how fast and how long still.

import { filesDropped } from "./upload-drop.js";
import { UploadQueue } from "./upload-queue.js";
import { bytesInWords, fill, sortOut, speedOf, timeLeft } from "./upload-words.js";

const language = document.documentElement.lang;
const queues = [];

function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16)); // also where randomUUID is not
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

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

  async take(files) {
    if (!files.length) return;
    const response = await fetch(this.words.knownUrl, { credentials: "same-origin" });
    const known = response.ok ? (await response.json()).uploads : [];
    const { found, card, cardFiles } = sortOut(files, known, newId());
    files.forEach((file, number) => {
      const row = found[number];
      const open = row && row.state === "open";
      this.queue.add({
        file,
        url: open ? row.url : null,
        id: row ? row.id : null,
        state: row && !open ? "known" : "waiting",
        sent: row && !open ? file.size : 0,
        metadata: {
          filename: file.name,
          station: this.words.uploadStation,
          camera: this.form.elements.camera.value,
          card,
          card_files: String(cardFiles),
          modified: String(file.lastModified),
        },
      });
    });
  }

  show(item) {
    this.root.querySelector("[data-sending]").hidden = false;
    item.line ??= this.newLine(item);
    if (item.id) item.line.dataset.live = item.id;
    item.line.querySelector(".state").textContent = this.wordsOf(item);
    item.line.querySelector(".state").className = `state ${toneOf(item)}`;
    item.line.querySelector("progress").value = item.file.size ? item.sent / item.file.size : 1;
    item.line.querySelector("progress").hidden = ["here", "known", "refused"].includes(item.state);
    this.total();
  }

  newLine(item) {
    const line = document.createElement("li");
    const [name, state, bar] = ["bdi", "span", "progress"].map((tag) => document.createElement(tag));
    name.textContent = item.file.name;
    name.className = "file-name";
    bar.setAttribute("aria-label", item.file.name);
    state.className = "state";
    line.append(name, state, bar);
    this.root.querySelector("[data-queue]").append(line);
    return line;
  }

  wordsOf(item) {
    const key = { sending: "Waiting", again: "Again", known: "Known", here: "Here" }[item.state];
    if (item.state === "sending" && item.file.size) return this.percent(item);
    if (item.state === "paused") {
      return fill(this.words.wordsPaused, { percent: percentOf(item) });
    }
    if (item.state === "refused") return fill(this.words.wordsRefused, { why: item.why });
    return this.words[`words${key ?? "Waiting"}`];
  }

  percent(item) {
    return `${percentOf(item)} % / ${bytesInWords(item.file.size, language)}`;
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

function percentOf(item) {
  return Math.floor((100 * item.sent) / Math.max(item.file.size, 1));
}

function toneOf(item) {
  return { refused: "unknown", again: "look", paused: "look", here: "", known: "" }[item.state] ?? "busy";
}

for (const root of document.querySelectorAll("[data-upload-station]")) new Station(root);
window.addEventListener("beforeunload", (event) => {
  if (queues.some((queue) => queue.open.length && !queue.paused)) event.preventDefault();
});
