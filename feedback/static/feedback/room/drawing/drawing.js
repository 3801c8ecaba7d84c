// Drawing on the pictures: puts tools, pen, cross-hair, overlay, saving and the list together.

import { startCrossHair } from "./cross-hair.js";
import { createDrawnList } from "./drawn-list.js";
import { startHandles } from "./handles.js";
import { untilFrame } from "./lasting.js";
import { createOverlay } from "./overlay.js";
import { createPen } from "./pen.js";
import { createSaving } from "./saving.js";
import { startStandsFor } from "./stands-for.js";
import { createStore } from "./store.js";
import { createToolRow } from "./tool-row.js";

export function startDrawing(room) {
  const part = document.querySelector("[data-drawing-part]");
  const overlay = createOverlay(room);
  const drawings = room.data.drawings ?? [];
  overlay.setAll(drawings);
  room.element.addEventListener("room:frame", ({ detail }) => overlay.show(detail.frames));
  if (!part) return;

  const go = ({ view, frame }) => { if (frame !== null) room.jump({ view, frame }); };
  const row = part.querySelector("[data-draw-row]");
  if (!row) {
    const find = (key) => drawings.find((one) => one.key === key);
    createDrawnList(part, { go: (key) => go(find(key)) }).show(drawings);
    return;
  }
  startTools(room, part, overlay, { drawings, go });
}

function startTools(room, part, overlay, { drawings, go }) {
  const find = (name) => part.querySelector(name);
  const words = (drawing) => {
    const name = tools.name(drawing);
    return drawing.label
      ? part.dataset.asSeen.replace("{kind}", name).replace("{angle}", drawing.label) : name;
  };
  const store = createStore(drawings, {
    saving: createSaving(part, drawings),
    words,
    onChange: (all) => show(all),
    onTrouble(trouble) {
      find("[data-draw-error]").hidden = !trouble;
      find("[data-draw-error]").textContent = trouble;
    },
  });
  const list = createDrawnList(part, {
    go: (key) => go(store.find(key)), rubOut: store.rubOut, again: store.again,
    stand: store.stand, viewOf: room.view,
  });
  const tools = createToolRow(room, part, { onTake });
  const pen = createPen(room, overlay, { tool: tools.tool, finish, hint: sayHow });
  const cross = startCrossHair(room, overlay, pen, {
    tool: () => tools.tool() ?? (tools.moving() ? {} : null), escape,
    keysOn: () => Boolean(tools.tool()) && (document.querySelector("[data-keys-on]")?.checked ?? true),
  });
  const handles = startHandles(room, overlay, store, {
    active: tools.moving, onTake: (key) => standsFor.take(key),
    label: (drawing, n) => part.dataset.point.replace("{n}", n + 1)
      .replace("{count}", drawing.points.length).replace("{label}", drawing.words),
  });
  const standsFor = startStandsFor(room, part, {
    moving: tools.moving, stand: store.stand,
    own: () => overlay.shown(room.now().main).filter((one) => one.mine),
  });
  const done = find("[data-done]");

  function show(all) {
    overlay.setAll(all);
    list.show(all);
    handles.refresh();
    standsFor.show();
    find("[data-undo]").disabled = !store.history.canUndo();
    find("[data-redo]").disabled = !store.history.canRedo();
  }

  function onTake(button) {
    pen.drop();
    cross.hide();
    done.hidden = true;
    handles.refresh();
    standsFor.show();
    if (button) find("[data-draw-box]").open = true;
  }

  function finish({ kind, straight, points, colour, frame }, view) {
    const { w, h } = overlay.sheet(view.key);
    done.hidden = true;
    const until_frame = untilFrame(view, frame, tools.span_s());
    const at_s = room.now().at_s;
    const where = { view: view.key, view_name: view.name, frame, until_frame, at_s };
    const told = { kind, straight, points, colour, for_coaches: tools.forCoaches() };
    store.draw({ ...where, ...told, width_px: w, height_px: h, state: part.dataset.saving })
      .then(() => tools.hint(store.unsaved() ? "" : part.dataset.saved));
  }

  function sayHow(gesture) {
    done.hidden = !(gesture.kind === "trace" && gesture.enough());
    tools.hint(part.dataset.pointSet.replace("{n}", gesture.points().length));
  }

  // A trace that has its points is kept; what is only begun is dropped; else the tool goes.
  function escape() {
    if (pen.enough()) pen.end();
    else if (pen.begun()) pen.drop();
    else tools.putAway();
    cross.hide();
  }

  done.addEventListener("click", () => { pen.end(); });
  find("[data-undo]").addEventListener("click", store.undo);
  find("[data-redo]").addEventListener("click", store.redo);
  room.element.addEventListener("room:frame", () => {
    if (!tools.moving()) return;
    handles.refresh();
    standsFor.show();
  });
  room.addKeys({ ...tools.keys(), u: store.undo, U: store.redo });
  window.addEventListener("beforeunload", (event) => { if (store.unsaved()) event.preventDefault(); });
  find("[data-draw-box]").open = matchMedia("(min-width: 641px)").matches;
  find("[data-draw-row]").hidden = false;
  show(drawings);
}
