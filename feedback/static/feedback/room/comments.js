// What was said, beside the picture: a tap leads to the frame, the words of now are marked, pins
// stand on the strip. The list may be replaced at any time (htmx): then it is read anew, once.
//
// Sends `room:loop` {from_s, to_s} from the room's element.

import { startForm } from "./comments-form.js";
import { makeIndex, neighbour, reach } from "./comments-index.js";
import { startTyped } from "./comments-typed.js";

const number = (text) => (text === undefined ? null : Number(text));

// The first line, shortened as on_strip.py does.
const begun = (article) => {
  const first = (article.querySelector(".words")?.firstChild?.textContent ?? "").trim();
  return first.length <= 60 ? first : `${first.slice(0, 59)}…`;
};

const read = (article) => {
  const { view, frame, at, until, comment } = article.dataset;
  const [at_s, until_s] = [number(at), number(until)];
  const anyView = view === undefined || "onSwim" in article.dataset;
  return { article, view, frame: number(frame), at_s, until_s, anyView, key: comment, ...reach(at_s, until_s) };
};

export function startComments(room) {
  const strip = room.element.querySelector("[data-lane-strip]");
  const form = startForm(room);
  let said = [];
  let index = makeIndex([]);
  let marked = new Set();
  let followed = 0;

  function readAll() {
    const articles = [...document.querySelectorAll("#said article[data-at]")];
    said = articles.map(read);
    index = makeIndex(said);
    marked = new Set();
  }

  // Asking where things are makes the browser lay the page out: not more than twice a second.
  function follow(article) {
    if (performance.now() - followed < 500) return;
    followed = performance.now();
    const list = article.closest("[data-told]");
    const [inside, around] = [article.getBoundingClientRect(), list.getBoundingClientRect()];
    if (inside.top < around.top || inside.bottom > around.bottom)
      list.scrollTop += inside.top - around.top;
  }

  function markNow({ at_s, playing }) {
    const shown = room.shown();
    const now = index.at(at_s).filter((item) => item.anyView || shown.includes(item.view));
    if (now.length === marked.size && now.every((item) => marked.has(item))) return;
    const fresh = now.filter((item) => !marked.has(item));
    for (const item of marked) item.article.classList.remove("now");
    for (const item of now) item.article.classList.add("now");
    marked = new Set(now);
    if (playing && fresh.length) follow(fresh[0].article);
  }

  const refresh = (now) => {
    if (now.at_s === null || now.at_s === undefined) return;
    form.fill(now);
    markNow(now);
  };

  const go = (item, frame = item?.frame) => {
    if (!item || item.frame === null) return;
    room.jump({ view: item.view, frame });
    item.article.scrollIntoView({ block: "nearest" });
  };
  const itemOf = (element) => said.find(({ article }) => article === element.closest("article"));
  const step = (direction) => go(neighbour(
    said.filter(({ frame }) => frame !== null), room.now().at_s ?? -Infinity, direction));

  const pins = () => strip.dispatchEvent(new CustomEvent("lane-strip:pins", {
    detail: said.map(({ at_s, key, article }) => ({ at_s, key, name: begun(article) })),
  }));

  room.element.addEventListener("room:frame", ({ detail }) => refresh(detail));
  room.element.addEventListener("room:stage", () => refresh(room.now()));
  strip.addEventListener("lane-strip:pin", (event) =>
    go(said.find(({ key }) => key === event.detail.key)));
  document.addEventListener("click", (event) => {
    const link = event.target.closest("#said a.jump");
    const loop = event.target.closest("[data-loop-span]");
    if (loop) {
      const { at_s: from_s, until_s: to_s } = itemOf(loop);
      room.element.dispatchEvent(new CustomEvent("room:loop", { detail: { from_s, to_s } }));
    }
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    go(itemOf(link), Number(link.dataset.frame));
  });
  document.addEventListener("focusin", (event) => {
    if (event.target.matches("#said textarea")) room.pause();
  });
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && event.target.matches("#said textarea")) event.target.blur();
  });
  // The list keeps its place; what was just said is brought into it.
  let scrolled = 0;
  document.body.addEventListener("htmx:beforeSwap", () => {
    scrolled = document.querySelector("[data-told]")?.scrollTop ?? 0;
  });
  document.body.addEventListener("htmx:afterSettle", ({ detail: { target, xhr, requestConfig } }) => {
    if (!target?.matches("#said, [data-told]")) return;
    const before = new Set(said.map(({ key }) => key));
    readAll();
    document.querySelector("[data-told]").scrollTop = scrolled;
    const fresh = said.find(({ key }) => !before.has(key));
    followed = 0;
    if (fresh) follow(fresh.article);
    pins();
    if (target.id === "said")
      form.renewed(xhr?.status === 200 && !("phrase" in (requestConfig?.parameters ?? {})));
    refresh(room.now());
  });
  for (const failed of ["htmx:sendError", "htmx:responseError"])
    document.body.addEventListener(failed, () => {
      const note = document.querySelector("[data-not-sent]");
      if (note) note.hidden = false;
    });
  room.addKeys({ n: () => step(1), p: () => step(-1), c: form.write });
  startTyped();
  readAll();
}
