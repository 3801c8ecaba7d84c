// The check board. A tap goes out by itself and only the rows that it touched come back, in
// their places: nothing moves under the finger, no row is reordered, no choice is lost.
// Without this every button posts and the page comes back to the row.

import { startChoosing } from "./check-board-choose.js";
import { takeIn } from "./check-board-fresh.js";
import { startKeys } from "./check-board-keys.js";
import { startLook } from "./check-board-look.js";
import { startStrip } from "./check-board-strip.js";

const SOON_MS = 4000;
const LATEST_MS = 16000;

function start(board) {
  const page = location.pathname;
  let acts = Promise.resolve(); // one after the other
  let underWay = 0;
  let begun = 0;
  let leaves = false;

  // Nothing is taken in that was asked for before an act began: it may be older than its answer.
  async function ask(url, options = {}) {
    const mine = begun;
    const answer = await fetch(url, {
      credentials: "same-origin",
      headers: { "X-Board": "rows" },
      ...options,
    });
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
    if (!answer.ok || !fresh.getElementById("board-head")) throw new Error(`${answer.status}`);
    if (mine !== begun) return false;
    return takeIn(board, fresh, new URL(answer.url).searchParams.get("rows") ?? "");
  }

  const askOf = (form, button) => {
    const body = new FormData(form);
    body.append(button.name, button.value);
    return [button.getAttribute("formaction") ?? form.getAttribute("action"), { method: "POST", body }];
  };

  // What is undone is what was done last when its turn comes.
  const ofNow = (form, button, told) => {
    if (button.dataset.act !== "undo") return told;
    const last = document.querySelector('[data-act="undo"]');
    return last && askOf(form, last);
  };

  async function act(asked) {
    if (leaves || !asked) return;
    begun += 1;
    try {
      await ask(...asked);
    } catch {
      leaves = true;
      location.assign(page); // signed out, or the network is gone: the whole page says which
    }
  }

  // Pressed while another act is under way: it waits for its turn. The same button counts once.
  function press(form, button) {
    if (button.classList.contains("board-busy")) return;
    button.classList.add("board-busy");
    underWay += 1;
    const told = askOf(form, button);
    acts = acts.then(() => act(ofNow(form, button, told))).finally(() => {
      underWay -= 1;
      button.classList.remove("board-busy");
    });
  }

  document.addEventListener("submit", (event) => {
    const form = event.target.closest("[data-board], [data-board-form]");
    const button = event.submitter;
    if (!form || !button || button.hasAttribute("data-swap")) return;
    event.preventDefault();
    press(form, button);
  });
  window.addEventListener("beforeunload", (event) => {
    if (underWay && !leaves) event.preventDefault();
  });

  const ids = (rows) => [...board.querySelectorAll(rows)].map((row) => row.dataset.row);
  let turn = 0;

  // Some of these rows anew, the others the next time. True if one changed.
  async function askAfter(rows) {
    if (!rows.length || underWay || document.hidden) return false;
    const atOnce = Number(board.dataset.rowsAtOnce);
    if (turn >= rows.length) turn = 0;
    const chosen = rows.slice(turn, turn + atOnce);
    turn += atOnce;
    return ask(`${page}?rows=${chosen.join(",")}`);
  }

  function followMaking() {
    let wait = SOON_MS;
    async function round() {
      const changed = await askAfter(ids("tr[data-making]")).catch(() => false);
      wait = changed ? SOON_MS : Math.min(wait * 1.5, LATEST_MS);
      setTimeout(round, wait);
    }
    setTimeout(round, wait);
    document.addEventListener("progress:changed", () => {
      acts.then(() => askAfter(ids("tr[data-row]:has(.check-none)"))).catch(() => {});
    });
  }

  startChoosing(board);
  const look = startLook(board, document.querySelector("[data-look]"));
  startStrip(board);
  startKeys(board, document.querySelector("[data-help]"), look);
  followMaking();
}

for (const board of document.querySelectorAll("[data-board]")) start(board);
