// The guided pass (q quick, Q full): after each mark it jumps to where the next event is expected.
// Enter marks, o goes on without a mark, Backspace goes back, Escape ends; figures mark as ever.

import { awayS, reaches } from "./follow.js";
import { secondsFormat } from "./seconds.js";

const TYPED_INTO = "input, textarea, select, button, a, summary, [contenteditable]";
const BEST_SEEN = { // where a station of this kind has the swimmer, its picture is brought
  "start-side": ["start-signal", "first-movement", "feet-leave-block", "first-entry", "full-entry"],
  underwater: ["breakout"],
  "turn-window": ["hands-touch-wall", "feet-touch-wall", "feet-leave-wall"],
};

const IN_S = 0.1; // from the ends of a film

export function startPass(room, part, place, keysInHand) {
  const box = part.querySelector("[data-pass]");
  const find = (name) => box.querySelector(name);
  const panel = find("[data-pass-panel]");
  const begin = find("[data-pass-begin]");
  const seconds = secondsFormat();
  let guides = room.data.guides ?? {};
  let name = null; // of the pass that goes on
  let n = 0;
  let tookKeys = false;
  let looks = 0;
  const marking = []; // the steps whose marks are under way, by Enter, oldest first
  const steps = () => guides[name] ?? [];
  const step = () => steps()[n];
  function show() {
    const { label, done, at_s } = step();
    const told = done ? box.dataset.marked : box.dataset.expected;
    find("[data-pass-what]").textContent = label;
    find("[data-pass-where]").textContent = told
      .replace("{n}", n + 1).replace("{count}", steps().length).replace("{at}", seconds.format(at_s));
    find('[data-pass-do="mark"]').disabled = false;
  }

  // Where nothing was filmed then, the nearest picture.
  const filmed = (at_s) => room.views
    .map((view) => Math.min(Math.max(at_s, view.from_s + IN_S), view.to_s - IN_S))
    .reduce((best, at) => (Math.abs(at - at_s) < Math.abs(best - at_s) ? at : best));

  async function look() {
    show();
    const { kinds, at_s } = step();
    const at = filmed(at_s);
    const mine = (looks += 1);
    await room.jump({ at_s: at });
    if (mine !== looks) return; // at another step by now
    const best = room.views.find((view) => BEST_SEEN[view.kind]?.includes(kinds[0])
      && reaches(view, at) && awayS(view, at) === 0);
    if (best && name && room.now().main !== best.key) await room.safely(() => room.show(best.key));
  }

  function go(to) {
    if (to >= steps().length) {
      find("[data-pass-what]").textContent = box.dataset.done;
      find("[data-pass-where]").textContent = "";
      find('[data-pass-do="mark"]').disabled = true;
      n = steps().length;
      return;
    }
    n = Math.max(to, 0);
    look();
  }

  const following = (from) => {
    const next = steps().findIndex((one, k) => k > from && !one.done);
    return next < 0 ? steps().length : next;
  };

  function start(which) {
    if (!guides[which]) return;
    part.querySelector("[data-mark-box]").open = true;
    room.setTool(null); // one hand, one tool: both would hear Enter
    name = which;
    begin.hidden = true;
    panel.hidden = false;
    panel.focus({ preventScroll: true });
    tookKeys = !keysInHand();
    if (tookKeys) keysInHand(true);
    go(following(-1));
  }

  function end() {
    name = null;
    panel.hidden = true;
    begin.hidden = false;
    if (tookKeys) keysInHand(false);
  }

  async function mark() {
    if (!step()) return;
    const { kinds, distance_m } = step();
    const turn = { n };
    marking.push(turn);
    try {
      await place(kinds[0], String(distance_m ?? ""));
    } finally {
      marking.splice(marking.indexOf(turn), 1);
    }
  }

  const acts = {
    mark,
    over: () => go(following(n)),
    back: () => go(n - 1),
    end,
  };

  room.element.addEventListener("room:marks", ({ detail }) => {
    guides = detail?.guides ?? guides;
    if (!name || !step()) return;
    // pressed twice, or gone on meanwhile: what was marked is another step's
    const another = marking.length > 0 && marking[0].n !== n;
    if (another || !step().kinds.includes(detail?.kind)) return void show();
    if (step().repeats) look();
    else go(following(n));
  });
  box.addEventListener("click", (event) => {
    const { passName, passDo } = event.target.closest("button")?.dataset ?? {};
    if (passName) start(passName);
    if (!passDo) return;
    acts[passDo]();
    if (event.detail && name) panel.focus({ preventScroll: true }); // by hand: Enter marks again
  });
  document.addEventListener("keydown", (event) => {
    if (!name || event.altKey || event.ctrlKey || event.metaKey || event.repeat) return;
    if (document.querySelector("dialog[open]")) return;
    const act = { Enter: "mark", o: "over", Backspace: "back", Escape: "end" }[event.key];
    if (!act || (act !== "end" && event.target.closest(TYPED_INTO))) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    acts[act]();
  }, { capture: true });
  room.element.addEventListener("room:tool", ({ detail: { name: tool } }) => {
    if (name && tool && tool !== "mark-place") end();
  });
  begin.hidden = !guides.quick;
  room.addKeys({ q: () => start("quick"), Q: () => start("full") });
}
