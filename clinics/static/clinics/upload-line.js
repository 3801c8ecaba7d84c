// The line of one file: its name, how far it is, in words and as a bar.

import { bytesInWords, fill } from "./upload-words.js";

const OVER = ["here", "known", "refused"];
const TONES = { refused: "unknown", again: "look", paused: "look", here: "", known: "" };

export function newLine(item) {
  const line = document.createElement("li");
  const [name, state, bar] = ["bdi", "span", "progress"].map((tag) => document.createElement(tag));
  name.textContent = item.file.name;
  name.className = "file-name";
  bar.setAttribute("aria-label", item.file.name);
  state.className = "state";
  line.append(name, state, bar);
  return line;
}

const percentOf = (item) => Math.floor((100 * item.sent) / Math.max(item.file.size, 1));

function wordsOf(item, words, language) {
  if (item.state === "sending" && item.file.size)
    return `${percentOf(item)} % / ${bytesInWords(item.file.size, language)}`;
  if (item.state === "paused") return fill(words.wordsPaused, { percent: percentOf(item) });
  if (item.state === "refused") return fill(words.wordsRefused, { why: item.why });
  const key = { again: "Again", known: "Known", here: "Here" }[item.state] ?? "Waiting";
  return words[`words${key}`];
}

export function showLine({ line, ...item }, words, language) {
  if (item.id) line.dataset.live = item.id;
  line.querySelector(".state").textContent = wordsOf(item, words, language);
  line.querySelector(".state").className = `state ${TONES[item.state] ?? "busy"}`;
  line.querySelector("progress").value = item.file.size ? item.sent / item.file.size : 1;
  line.querySelector("progress").hidden = OVER.includes(item.state);
}
