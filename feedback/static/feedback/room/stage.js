// The stage: which views stand on it, which of them is the main one, who stays.
//
// createStage(room, engine, gate) gives { settle, bring, … }; the deciding is in follow.js. It
// shows what it decides at once and lets the engine bring the films. Sends `room:stage`.

import { comesNext, onStage } from "./follow.js";

const SHARPEST = 2; // device pixels that are worth a larger film

export function createStage(room, engine, gate) {
  const box = room.element.querySelector("[data-stage]");
  const wide = matchMedia("(min-width: 901px)");
  const state = {
    layout: wide.matches ? Math.min(2, room.views.length) : 1,
    follow: true,
    main: room.data.opening.view,
    kept: [],
    shown: [],
  };
  let brought = Promise.resolve();
  let sharper = false;
  let magnified = () => 1;
  let drawn = null; // the main view that the page shows as such

  function height_px() {
    if (gate.saving() && !sharper) return 0;
    const { picture } = room.view(state.main);
    const seen = picture.parentElement.clientHeight * magnified();
    return seen * Math.min(window.devicePixelRatio, SHARPEST);
  }

  // The engine gets what may be fetched; it says when all of it can be seen.
  function bring() {
    brought = engine.setShown(state.shown.filter(gate.allows), { height_px: height_px() });
    brought.then(fetchAhead, () => {});
    return brought;
  }

  // Who follows the swimmer does not wait at each station for its film.
  function fetchAhead() {
    const next = comesNext(room.views, room.now().at_s ?? 0, state.shown);
    if (next !== null && state.follow && !gate.saving()) engine.fetchAhead(next);
  }

  function draw() {
    box.dataset.layout = String(state.shown.length > 2 ? 4 : state.shown.length);
    for (const { key, figure } of room.views) {
      const place = state.shown.indexOf(key);
      figure.classList.toggle("shown", place >= 0);
      figure.classList.toggle("main", key === state.main);
      figure.style.order = String(Math.max(0, place));
      const stays = state.kept.includes(key);
      figure.querySelector("[data-keep]").ariaPressed = String(stays);
      figure.querySelector("[data-steps]").ariaPressed = String(key === state.main);
    }
    const detail = { shown: [...state.shown], main: state.main, ...setting() };
    room.element.dispatchEvent(new CustomEvent("room:stage", { detail }));
  }

  const setting = () => ({ layout: state.layout, follow: state.follow, kept: [...state.kept] });

  // Put the stage right for an instant. `wish`: { main, layout, follow, kept }; a main view that
  // is wished for stays until the swimmer is elsewhere, alone on stage it is the one that is kept.
  function settle(at_s, wish = {}) {
    Object.assign(state, wish);
    if (wish.main !== undefined && state.layout === 1 && state.kept.length) state.kept = [wish.main];
    const kept = wish.main === undefined ? state.kept : [wish.main, ...state.kept];
    const before = state.shown;
    const next = onStage(room.views, at_s, { ...state, kept, before });
    const same = next.main === drawn && next.shown.join() === before.join();
    Object.assign(state, next);
    if (same && !Object.keys(wish).length) return brought;
    drawn = state.main;
    room.element.dataset.view = state.main;
    room.element.dataset.frame = room.now().frame ?? ""; // none until it is painted
    engine.setMain(state.main);
    draw();
    return same ? brought : bring();
  }

  function keep(key, stays) {
    const kept = state.kept.filter((one) => one !== key);
    return settle(room.now().at_s, { main: state.main, kept: stays ? [...kept, key] : kept });
  }

  // Another view in the place of one that is on stage, at the same instant.
  function exchange(key, other) {
    const kept = [...state.kept.filter((one) => one !== key && one !== other), other];
    state.shown = state.shown.map((one) => (one === key ? other : one));
    const main = state.main === key ? other : state.main;
    return settle(room.now().at_s, { main, kept: kept.slice(-state.layout) });
  }

  let waiting = 0;
  new ResizeObserver(() => {
    clearTimeout(waiting);
    waiting = setTimeout(() => { if (state.shown.length) bring().catch(() => {}); }, 300);
  }).observe(box);

  return {
    settle,
    bring,
    keep,
    exchange,
    setting,
    main: () => state.main,
    shown: () => [...state.shown],
    setSharper(to) {
      sharper = to;
      return bring();
    },
    sharper: () => sharper,
    magnifyBy(ask) { magnified = ask; },
  };
}
