// Marks: an event placed on the frame that is on screen, by a button, or by a figure once
// "Mark" is in hand (key m); the list of those placed; their flags on the strip.

import { createMarkList } from "./mark-list.js";
import { startPass } from "./measures-pass.js";

const TYPED_INTO = "input, textarea, select, [contenteditable]";

export function startMarks(room) {
  const part = document.querySelector("[data-marks]");
  const strip = room.element.querySelector("[data-lane-strip]");
  let marks = room.data.marks ?? [];

  const go = (key) => {
    const mark = marks.find((one) => one.key === key);
    if (mark && mark.frame !== null) room.jump({ view: mark.view, frame: mark.frame });
  };
  const flags = () => strip?.dispatchEvent(new CustomEvent("lane-strip:flags", {
    detail: marks.filter((mark) => mark.at_s !== null)
      .map(({ at_s, key, label }) => ({ at_s, key, name: label })),
  }));
  strip?.addEventListener("lane-strip:flag", (event) => go(event.detail.key));
  flags();
  if (!part) return;

  const find = (name) => part.querySelector(name);
  const list = createMarkList(part);
  const pointOut = (now) => list.pointOut(marks, now?.frames);
  const show = () => { list.show(marks); pointOut(room.now()); flags(); };
  const say = (words) => { find("[data-mark-said]").textContent = words; };
  const complain = (words) => {
    const error = find("[data-mark-error]");
    error.hidden = !words;
    error.textContent = words;
  };

  // One after another: all marks come back, and the last answer is what the server has.
  let asked = Promise.resolve();
  const post = (url, fields) => (asked = asked.then(() => send(url, fields)));

  async function send(url, fields) {
    const token = part.querySelector("[name=csrfmiddlewaretoken]").value;
    let answer, told;
    try {
      answer = await fetch(url, {
        method: "POST", body: fields, credentials: "same-origin",
        headers: { Accept: "application/json", "X-CSRFToken": token },
      });
      told = await answer.json();
    } catch {
      complain(part.dataset.notSent);
      return false;
    }
    complain(answer.ok ? "" : (told.errors ?? [part.dataset.notSent]).join(" "));
    if (!answer.ok) return false;
    marks = told.marks;
    show();
    room.element.dispatchEvent(new CustomEvent("room:marks", { detail: { ...told, kind: fields.get("kind") } }));
    return true;
  }

  async function place(kind, distance = "") {
    const { main, frame } = room.now(); // before anything moves on
    room.pause();
    const fields = new FormData();
    const told = { clip: main, frame, kind, distance_m: distance.replace(",", ".") };
    for (const [name, value] of Object.entries(told)) fields.set(name, value);
    if (!(await post(new URL(find("[data-mark-form]").action), fields))) return;
    const placed = marks.find((one) => one.view === main && one.frame === frame && one.kind === kind);
    if (placed) say(part.dataset.placed.replace("{label}", placed.label).replace("{time}", list.time(placed.at_s)));
  }

  show();
  room.element.addEventListener("room:frame", (event) => pointOut(event.detail));
  part.addEventListener("click", (event) => {
    const link = event.target.closest("a.jump-to");
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    go(link.closest("li").dataset.key);
  });
  part.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (event.target.matches("[data-mark-form]"))
      place(event.submitter.value, event.target.elements.distance_m?.value);
    else if (await post(event.target.action, new FormData())) say(part.dataset.takenAway);
  });
  if (!find("[data-mark-form]")) return;
  // the pass hears its keys first; `keysInHand()` tells, `keysInHand(on)` takes them or puts them away
  let inHand;
  startPass(room, part, place, (on) => inHand(on));
  inHand = startMarkKeys(room, part, place);
}

// While "Mark" is in hand, figures mark; otherwise they choose views, as elsewhere.
function startMarkKeys(room, part, place) {
  const button = part.querySelector("[data-mark-keys]");
  const inHand = () => button.ariaPressed === "true";
  const take = (on) => {
    button.ariaPressed = String(on);
    if (on) box.open = true;
    part.classList.toggle("by-keys", on);
  };
  button.hidden = false;
  const box = part.querySelector("[data-mark-box]");
  box.open = matchMedia("(min-width: 641px)").matches;
  button.addEventListener("click", () => take(!inHand()));
  room.addKeys({ m: () => take(!inHand()) });
  document.addEventListener("keydown", (event) => {
    if (!inHand() || event.altKey || event.ctrlKey || event.metaKey) return;
    if (event.target.closest(TYPED_INTO) || document.querySelector("dialog[open]")) return;
    const kind = /^[1-9]$/.test(event.key) && part.querySelector(`[data-mark-key="${event.key}"]`)?.value;
    if (!kind && event.key !== "Escape") return;
    event.preventDefault();
    event.stopImmediatePropagation();
    if (kind) place(kind);
    else take(false);
  }, { capture: true });
  return (on) => { if (on !== undefined) take(on); return inHand(); };
}
