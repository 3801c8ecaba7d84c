// The page of a swim: puts views, strip, keys and comments together.

import { startComments } from "./comments.js";
import { startKeys } from "./keys.js";
import { startTouch } from "./touch.js";
import { createViews } from "./views.js";

const RATES = [[1 / 8, "1/8"], [1 / 4, "1/4"], [1 / 2, "1/2"], [1, "1"]];

export function startRoom(room) {
  const data = JSON.parse(document.getElementById("swim-data").textContent);
  const find = (name) => room.querySelector(name);
  const strip = find("[data-lane-strip]");
  const button = (name) => find(`[data-do="${name}"]`);
  const seconds = new Intl.NumberFormat(document.documentElement.lang, {
    minimumFractionDigits: 2, maximumFractionDigits: 2,
  });
  const views = createViews(room, data, () => (follows() && goOn()) || showPlaying());
  const follows = () => button("follow").ariaPressed === "true";
  const engine = () => views.chosen()?.engine;

  // Whatever loads may fail; the page says so and stays usable.
  const safely = (work) => (...args) => Promise.resolve(work(...args))
    .then(() => { find("[data-trouble]").hidden = true; })
    .catch((error) => {
      if (error.name !== "AbortError") find("[data-trouble]").hidden = false;
    })
    .finally(showPlaying);

  function showPlaying() {
    const play = button("play");
    play.textContent = engine()?.playing() ? play.dataset.pause : play.dataset.play;
  }

  // The next view that has the swimmer, once this one has not; it plays on.
  function goOn() {
    const now = views.chosen();
    const next = views.all().find((view) => view.seen_to_s > now.seen_to_s + 0.05);
    if (!next) return false;
    const at_s = Math.max(now.seen_to_s, next.seen_from_s);
    safely(async () => { await views.choose(next.key, { at_s }); await next.engine.play(); })();
    return true;
  }

  const choose = safely((key, where) => views.choose(key, where));
  const toggle = safely(() => (engine()?.playing() ? engine().pause() : engine()?.play()));
  const pause = safely(() => engine()?.pause());
  const step = safely(async (by) => {
    await engine().pause();
    await engine().show(engine().frame() + by);
  });
  const neighbour = (by) => {
    const all = views.all();
    const next = all[all.indexOf(views.chosen()) + by];
    if (next) choose(next.key, { at_s: by > 0 ? next.seen_from_s : undefined });
  };
  const setSpeed = (index) => {
    const slider = find("[data-speed]");
    slider.value = Math.min(RATES.length - 1, Math.max(0, index));
    const [rate, words] = RATES[slider.value];
    slider.ariaValueText = find("[data-speed-shown]").value = words;
    views.setRate(rate);
  };
  const toggleFollow = () => { button("follow").ariaPressed = String(!follows()); };
  const help = document.querySelector("[data-help]");

  const comments = startComments(room, {
    jump: (key, frame) => choose(key, { frame }),
    pause,
  });

  room.addEventListener("room:frame", ({ detail: { view, frame, at_s } }) => {
    const time = `${seconds.format(at_s)} s`;
    view.element.querySelector("[data-time]").textContent = time;
    room.dataset.frame = frame;
    room.dataset.view = view.key;
    const detail = { at_s, text: `${time}, ${view.name}` };
    strip.dispatchEvent(new CustomEvent("lane-strip:show", { detail }));
    if (follows() && engine()?.playing() && at_s > view.seen_to_s) goOn();
  });
  strip.addEventListener("lane-strip:move", ({ detail: { at_s } }) =>
    choose(views.viewAt(at_s).key, { at_s }));
  strip.addEventListener("lane-strip:step", (event) => {
    event.preventDefault();
    step(event.detail.steps);
  });
  room.addEventListener("click", (event) => {
    const stand = event.target.closest("[data-stand]");
    if (!stand || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    choose(stand.dataset.stand, { at_s: views.get(stand.dataset.stand).seen_from_s });
  });
  button("back").addEventListener("click", () => step(-1));
  button("on").addEventListener("click", () => step(1));
  button("play").addEventListener("click", toggle);
  button("follow").addEventListener("click", toggleFollow);
  button("help").addEventListener("click", () => help.showModal());
  find("[data-speed]").addEventListener("input", (event) => setSpeed(Number(event.target.value)));
  startTouch(find("[data-stage]"), { tap: toggle, swipe: neighbour });
  startKeys(help, {
    " ": toggle,
    ArrowLeft: (event) => step(event.shiftKey ? -10 : -1),
    ArrowRight: (event) => step(event.shiftKey ? 10 : 1),
    ArrowUp: () => setSpeed(Number(find("[data-speed]").value) + 1),
    ArrowDown: () => setSpeed(Number(find("[data-speed]").value) - 1),
    n: () => comments.next(1),
    p: () => comments.next(-1),
    c: comments.write,
    f: toggleFollow,
    "?": () => help.showModal(),
    digit: (event) => {
      const view = views.all()[Number(event.key) - 1];
      if (view) choose(view.key, { at_s: view.seen_from_s });
    },
  });
  find("[data-keys]").hidden = false;
  choose(data.opening.view, { frame: data.opening.frame })
    .then(() => { room.dataset.ready = "true"; });
}

const room = document.querySelector("[data-room]");
if (room && document.getElementById("swim-data")) startRoom(room);
