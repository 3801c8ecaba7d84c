// What was said, beside the picture: a tap leads to the frame, the form carries the frame
// that is on screen, the words of that frame are marked. The list may be replaced at any
// time (htmx), so everything is found anew and listened for on the document.

export function startComments(room, { jump, pause }) {
  const articles = () => [...document.querySelectorAll("#said article")];
  const strip = room.querySelector("[data-lane-strip]");
  const seconds = new Intl.NumberFormat(document.documentElement.lang, {
    minimumFractionDigits: 2, maximumFractionDigits: 2,
  });
  let now = null;

  const go = (article) => {
    if (!article?.dataset.view) return;
    jump(article.dataset.view, Number(article.dataset.frame));
    article.scrollIntoView({ block: "nearest" });
  };

  // The form says where it stands: clip and frame go with it, no time does.
  const fill = () => {
    const form = document.querySelector("[data-say]");
    if (!form || !now) return;
    form.elements.clip.value = now.view.key;
    form.elements.frame.value = now.frame;
    form.querySelector("[data-say-at]").textContent = room.dataset.sayAt
      .replace("{at}", seconds.format(now.at_s)).replace("{name}", now.view.name);
  };

  const markNow = () => {
    if (!now) return;
    for (const article of articles()) {
      const near = article.dataset.view === now.view.key &&
        Math.abs(Number(article.dataset.at) - now.at_s) < 0.25;
      article.classList.toggle("now", near);
    }
  };

  const pins = () => {
    const said = articles().filter((article) => article.dataset.at);
    const detail = said.map((article) => ({
      at_s: Number(article.dataset.at), key: article.dataset.comment,
    }));
    strip.dispatchEvent(new CustomEvent("lane-strip:pins", { detail }));
  };

  const refresh = () => { fill(); markNow(); };

  room.addEventListener("room:frame", (event) => { now = event.detail; refresh(); });
  strip.addEventListener("lane-strip:pin", (event) =>
    go(document.querySelector(`#said [data-comment="${CSS.escape(event.detail.key)}"]`)));
  document.addEventListener("click", (event) => {
    const link = event.target.closest("a.jump");
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    go(link.closest("article"));
  });
  document.addEventListener("focusin", (event) => {
    if (event.target.matches("#said textarea")) pause();
  });
  document.body.addEventListener("htmx:afterSettle", () => { pins(); refresh(); });
  for (const failed of ["htmx:sendError", "htmx:responseError"])
    document.body.addEventListener(failed, () => {
      const note = document.querySelector("[data-not-sent]");
      if (note) note.hidden = false;
    });

  return {
    write: () => document.querySelector("[data-say] textarea")?.focus(),
    next(direction) {
      const said = articles().filter((article) => article.dataset.view);
      const here = now?.at_s ?? -Infinity;
      const after = said.filter((a) => direction * (Number(a.dataset.at) - here) > 0.001);
      go(direction > 0 ? after[0] : after.at(-1));
    },
  };
}
