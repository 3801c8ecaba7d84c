// The pool plan of a clinic: stations are moved and turned on it, figures follow, and what the
// server finds comes back in words. Without this every station has its figures to type.

import { choose, readStands, redraw, shownSvg } from "./plan-draw.js";
import { focusOf, label, makeMovable, placeForm, wordsOf } from "./plan-marks.js";
import { startMoving } from "./plan-moves.js";
import { putParts } from "./plan-parts.js";
import { startSaving } from "./plan-save.js";
import { sightOf } from "./plan-sight.js";

function poolOf({ dataset: d }) {
  const [course, lanes, lane, deck] = [d.course, d.lanes, d.lane, d.deck].map(Number);
  return { course, lane, deck, width: lanes * lane };
}

function start(plan) {
  const pool = poolOf(plan);
  const words = wordsOf(plan);
  const readout = plan.querySelector("[data-plan-readout]");
  const error = plan.querySelector("[data-plan-error]");
  const again = plan.querySelector("[data-plan-again]");
  const token = document.querySelector("[data-place] [name=csrfmiddlewaretoken]").value;
  let stands = new Map();

  function tell(stand) {
    const seen = sightOf(stand, pool);
    const told = [words("place", stand), words("turn", { ...seen, name: stand.name })];
    if (seen.width) told.push(words("sees", { width: seen.width, at: seen.distance }));
    readout.value = told.join(" ");
  }

  function show(stand) {
    stands.set(stand.key, stand);
    redraw(shownSvg(plan), stand, pool);
    label(plan, stand, pool, words);
    tell(stand);
  }

  function upgrade() {
    stands = readStands(shownSvg(plan));
    makeMovable(plan, stands, pool, words);
  }

  function fresh(text) {
    const chosen = plan.querySelector(".station.chosen")?.dataset.station;
    const { parts, refocus } = putParts(text, focusOf);
    upgrade();
    if (chosen) choose(plan, chosen);
    refocus();
    const said = parts.find((part) => part.dataset.part === "said");
    const isBad = said?.hasAttribute("data-bad");
    error.hidden = !isBad;
    (isBad ? error : readout).textContent = said?.textContent.trim() ?? "";
  }

  function state(what) {
    const isWrong = what === "lost" || what === "out";
    error.hidden = !isWrong;
    again.hidden = what !== "lost";
    if (isWrong) error.textContent = words(what);
    plan.setAttribute("aria-busy", what === "saving");
  }

  const saving = startSaving({
    urlOf: (key) => placeForm(key).action,
    token,
    fresh,
    state,
    busy: () => moving.busy(),
  });
  const undo = () => saving.ask(plan.dataset.undo);
  const moving = startMoving(plan, pool, {
    stands: () => stands,
    show,
    keep(stand, dragged) {
      show(stand);
      saving.keep(stand, dragged);
    },
    open(stand) {
      const form = placeForm(stand.key);
      form.closest("details").open = true;
      form.elements.x_m.focus();
    },
    undo,
  });

  plan.addEventListener("submit", (event) => {
    if (!event.target.matches("[data-plan-undo]")) return;
    event.preventDefault();
    undo();
  });
  for (const rest of ["pointercancel", "keyup"]) plan.addEventListener(rest, saving.settle);
  again.addEventListener("click", saving.send);
  addEventListener("pagehide", saving.leave);
  addEventListener("beforeunload", (event) => {
    if (saving.unsaved()) event.preventDefault(); // what was moved is not saved
  });
  plan.querySelector("[data-plan-hint]").hidden = false;
  upgrade();
}

for (const plan of document.querySelectorAll("[data-plan-moves]")) start(plan);
