// Points of the body on a frame: setting them one after another, moving them, and what they tell.

import { createList } from "./list.js";
import { createSheets } from "./sheets.js";
import { createStore } from "./store.js";
import { startSetting } from "./setting.js";

export function startBody(room) {
  const part = document.querySelector("[data-body-part]");
  if (!part) return;
  const setup = JSON.parse(document.getElementById("body-setup").textContent);
  const sheets = createSheets(room, setup.lines);
  const box = part.querySelector("[data-body-box]");
  const form = part.querySelector("[data-body-table]");
  const error = part.querySelector("[data-body-error]");
  let setting = null;

  const store = createStore(part, { bodies: room.data.bodies ?? [], ways: setup.ways }, {
    url: part.dataset.url,
    table: () => form.elements.table.value,
    onChange: () => sheets.setAll(store.bodies(), store.ways()),
    onAnswer(told) {
      list.swap(told.html);
      setting?.refresh();
    },
    onTrouble(words) {
      error.hidden = !words;
      error.textContent = words;
      if (words) setting?.ask(); // what was refused is asked for again
    },
  });
  const list = createList(part, room, { takeAway: (url) => store.send(url, {}) });

  room.element.addEventListener("room:frame", ({ detail }) => {
    sheets.show(detail.frames);
    list.pointOut(detail);
    setting?.frameChanged(detail);
  });
  sheets.setAll(store.bodies(), store.ways());
  if (!box) return;

  setting = startSetting(room, part, { setup, sheets, store });
  form.querySelector("button").hidden = true;
  form.addEventListener("submit", (event) => event.preventDefault());
  form.elements.table.addEventListener("change", ({ target }) =>
    store.send(form.action, { table: target.value }));
  window.addEventListener("online", store.again);
  window.addEventListener("beforeunload", (event) => { if (store.unsaved()) event.preventDefault(); });
}
