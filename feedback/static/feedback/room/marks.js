// Marks: an event placed on the frame that is on screen, by a button, or by a figure once
// "Mark" is in hand (key m); the list of those placed; their flags on the strip.

import { startMarkKeys } from "./mark-keys.js";
import { createMarkList } from "./mark-list.js";
import { startMarkPlace } from "./mark-place.js";
import { startPass } from "./measures-pass.js";

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
  const placing = startMarkPlace(room, part);
  const show = () => { list.show(marks); pointOut(room.now()); flags(); placing.ring(marks); };
  const say = (words) => { find("[data-mark-said]").textContent = words; };
  const complain = (words) => {
    const error = find("[data-mark-error]");
    error.hidden = !words;
    error.textContent = words;
  };

  // One after another: all marks come back, and the last answer is what the server has.
  let asked = Promise.resolve();
  let underWay = 0;
  function post(url, fields) {
    underWay += 1;
    const sent = asked.then(() => send(url, fields)).finally(() => { underWay -= 1; });
    asked = sent.catch(() => {}); // the next one goes in any case
    return sent;
  }
  window.addEventListener("beforeunload", (event) => { if (underWay) event.preventDefault(); });

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

  const number = (typed = "") => typed.trim().replace(",", ".");

  // True once that very frame is on screen and stands: a player may come to rest on the next one,
  // and somebody may be elsewhere by the time that a film has come.
  async function standOn(view, frame) {
    const stands = () => room.now().main === view && room.now().frame === frame;
    await room.pause();
    if (!stands()) await room.jump({ view, frame });
    return stands();
  }

  // The event on the frame that is on screen, with its place in the picture if that is wanted.
  async function place(kind, distance = "", plusMinus = "") {
    const { main, frame } = room.now(); // before anything moves on
    const asks = frame !== null && placing.wanted(kind) && (await standOn(main, frame));
    room.pause();
    const at = asks ? await placing.ask(labelOf(kind)) : null;
    if (at === undefined) return;
    await mark({ clip: main, frame, kind, distance_m: number(distance), plus_minus_m: number(plusMinus) }, at);
  }

  async function mark(told, at) {
    const fields = new FormData();
    for (const [name, value] of Object.entries(told)) fields.set(name, value);
    if (at) { fields.set("x", at[0].toFixed(5)); fields.set("y", at[1].toFixed(5)); }
    if (!(await post(new URL(find("[data-mark-form]").action), fields))) return;
    const placed = marks.find((one) => one.view === told.clip && one.frame === told.frame && one.kind === told.kind && one.mine);
    if (placed) say(part.dataset.placed.replace("{label}", placed.label).replace("{time}", list.time(placed.at_s)));
  }

  const labelOf = (kind) => part.querySelector(`[data-mark-form] [value="${kind}"]`)?.dataset.label ?? "";

  // Afterwards: the place of a mark that stands already.
  async function placeAfter(key) {
    const { view, frame, kind, label } = marks.find((one) => one.key === key);
    if (!(await standOn(view, frame))) return;
    const at = await placing.ask(label);
    if (at) await mark({ clip: view, frame, kind }, at);
  }

  // Once: the second press would find nothing there any more.
  async function takeAway(form) {
    if (form.dataset.sent) return;
    form.dataset.sent = "yes";
    if (await post(form.action, new FormData())) say(part.dataset.takenAway);
    delete form.dataset.sent;
  }

  show();
  room.element.addEventListener("room:frame", (event) => pointOut(event.detail));
  part.addEventListener("click", (event) => {
    const after = event.target.closest("[data-place-after]");
    if (after) return void placeAfter(after.closest("li").dataset.key);
    const link = event.target.closest("a.jump-to");
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    go(link.closest("li").dataset.key);
  });
  part.addEventListener("submit", (event) => {
    event.preventDefault();
    if (event.target.matches("[data-mark-form]"))
      place(event.submitter.value, event.target.elements.distance_m?.value, event.target.elements.plus_minus_m?.value);
    else takeAway(event.target);
  });
  if (!find("[data-mark-form]")) return;
  // the pass hears its keys first; `keysInHand()` tells, `keysInHand(on)` takes them or puts them away
  let inHand;
  startPass(room, part, place, (on) => inHand(on));
  inHand = startMarkKeys(room, part, place);
}
