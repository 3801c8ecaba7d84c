// A still, large: the clip at the instant of passing, the swimmer's other clips beside it, and
// the same buttons as in the row. Up and down go to the other swimmers at the same station, or
// from number card to number card.

import { startClip } from "./check-board-clip.js";
import { drawViews } from "./check-board-views.js";

const ACTS = { c: "card", f: "face", n: "nobody", p: "pass" };

export function startLook(board, look) {
  const part = (name) => look.querySelector(`[data-look-${name}]`);
  const clip = startClip(look);
  let still = null; // what is shown: a still of the row, or its link to the card
  let rowId = "";
  let before = 0; // of a card: how many seconds before the start
  let views = []; // what is shown of the row, each with a button

  const row = () => still.closest("tr");
  const stillsOf = (tr) => [...tr.querySelectorAll("[data-still]")];
  const wording = ({ where, pass }) =>
    pass ? `${where}, ${part("where").dataset.passWords.replace("{n}", pass)}` : where;

  function drawOthers() {
    views = [...row().querySelectorAll("[data-still], [data-look-at-card]")];
    drawViews(part("others"), views, still, wording, show);
  }

  function drawPerson() {
    const copy = row().querySelector(".check-person").cloneNode(true);
    for (const button of copy.querySelectorAll("button")) button.type = "button";
    const had = part("person").contains(document.activeElement)
      ? document.activeElement.dataset.act
      : "";
    part("person").replaceChildren(...copy.childNodes);
    if (had) part("person").querySelector(`[data-act="${had}"]`)?.focus();
  }

  function showCard(seconds) {
    before = Math.min(Math.max(seconds, -10), 60);
    part("where").textContent = part("where").dataset.cardWords.replace("{s}", before);
    clip.showCard(`${still.dataset.lookAtCard}?before=${before}`, part("where").textContent);
  }

  function show(which) {
    still = which;
    rowId = row().id;
    part("name").textContent = `${row().dataset.name}, ${row().dataset.number}`;
    if (!look.open) look.showModal();
    if (still.dataset.lookAtCard) {
      showCard(Number(still.dataset.before));
    } else {
      part("where").textContent = wording(still.dataset);
      clip.show(still.dataset, part("where").textContent);
    }
    drawOthers();
    drawPerson();
  }

  function nextRow(by) {
    const rows = [...board.querySelectorAll("tr[data-row]")].filter((tr) => stillsOf(tr).length);
    const next = rows[rows.indexOf(row()) + by];
    if (!next) return;
    show(sameIn(next) ?? stillsOf(next)[0]);
  }

  function sameIn(tr) {
    if (still.dataset.lookAtCard) return tr.querySelector("[data-look-at-card]");
    const { where, pass } = still.dataset;
    return stillsOf(tr).find((one) => one.dataset.where === where && one.dataset.pass === pass);
  }

  function act(name) {
    row().querySelector(`[data-act="${name}"]:not([disabled])`)?.click();
  }

  const does = {
    close: () => look.close(),
    play: clip.play,
    back: () => clip.frame(-1),
    on: () => clip.frame(1),
    earlier: () => showCard(before + 1),
    later: () => showCard(before - 1),
    up: () => nextRow(-1),
    down: () => nextRow(1),
  };
  function step(by, oneFrame) {
    if (still.dataset.lookAtCard) showCard(before - by);
    else if (oneFrame) clip.frame(by);
    else clip.still(by);
  }
  const keys = {
    ArrowLeft: (event) => step(-1, event.shiftKey),
    ArrowRight: (event) => step(1, event.shiftKey),
    ArrowUp: does.up,
    ArrowDown: does.down,
  };

  board.addEventListener("click", (event) => {
    const chosen = event.target.closest("[data-still], [data-look-at-card]");
    if (!chosen || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    show(chosen);
  });
  look.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (button?.dataset.lookDo) does[button.dataset.lookDo]();
    else if (button?.dataset.act) act(button.dataset.act);
  });
  look.addEventListener("close", () => {
    clip.rest();
    if (still.isConnected) still.focus();
  });
  board.addEventListener("board:fresh", () => {
    if (!look.open) return;
    const tr = still.isConnected ? row() : document.getElementById(rowId);
    const same = tr && sameIn(tr);
    if (!same) {
      look.close(); // the swim is gone, or its clip
    } else {
      still = same;
      if (views.some((one) => !one.isConnected)) drawOthers(); // or their buttons lead nowhere
      drawPerson();
    }
  });

  return {
    open: () => look.open,
    key(event) {
      if (keys[event.key]) keys[event.key](event);
      else if (ACTS[event.key]) act(ACTS[event.key]);
      else return false;
      return true;
    },
  };
}
