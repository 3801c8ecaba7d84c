// Metres in the picture: lines on the frames where a plane holds, reading, setting marks, the list.

import { createLines } from "./lines.js";
import { createPlaneList } from "./plane-list.js";
import { startReading } from "./reading.js";
import { createSending } from "./sending.js";
import { startSetting } from "./setting.js";
import { createSheets } from "./sheets.js";

export function startPlane(room) {
  const part = document.querySelector("[data-plane]");
  if (!part) return;
  const find = (name) => part.querySelector(name);
  const shows = find("[data-plane-show]");
  let setting = null;
  const sheets = createSheets(room, { onResize: () => { lines.all(); setting?.resized(); } });
  const box = find("[data-plane-box]");
  const lines = createLines(sheets, { on: () => shows.checked && box.open });
  const list = createPlaneList(part);
  const sending = createSending(part);
  const say = (words) => {
    find("[data-plane-said]").textContent = words;
    find("[data-plane-away]").hidden = !room.element.dataset.tool?.startsWith("metres");
  };

  function pointOut(now) {
    lines.show(now?.frames);
    list.pointOut(now ? lines.at(now.main)?.key : null);
  }
  function kept(planes, words) {
    lines.set(planes);
    list.show(planes);
    pointOut(room.now());
    say(words);
    room.element.dispatchEvent(new CustomEvent("room:planes", { detail: { planes } }));
  }

  part.addEventListener("click", (event) => {
    const link = event.target.closest("a.jump-to");
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    const { view, frame } = link.closest("li").dataset;
    room.jump({ view, frame: Number(frame) });
  });
  part.addEventListener("submit", async (event) => {
    if (!event.target.matches("[data-take-away]")) return;
    event.preventDefault();
    const form = event.target;
    if (form.dataset.sent) return; // once: the second press would find nothing there any more
    form.dataset.sent = "yes";
    const told = await sending.takeAway(form.action);
    delete form.dataset.sent;
    if (told.errors) say(told.errors.join(" "));
    else kept(told.planes, part.dataset.takenAway);
  });
  shows.addEventListener("change", lines.all);
  box.addEventListener("toggle", lines.all);
  find("[data-plane-away]").addEventListener("click", () => room.setTool(null));
  room.element.addEventListener("room:frame", ({ detail }) => pointOut(detail));

  lines.set(room.data.planes ?? []);
  startReading(room, part, sheets, sending, { say });
  if (find("[data-plane-set]"))
    setting = startSetting(room, part, sheets, sending, {
      say, kept: (planes) => kept(planes, part.dataset.kept),
    });
  find("[data-plane-row]").hidden = false;
}
