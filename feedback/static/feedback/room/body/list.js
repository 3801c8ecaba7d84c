// What the points tell, as the server wrote it: the figures of the frames that are on screen, the
// list of frames, the way of the centre. What is open stays open.

export function createList(part, room, { takeAway }) {
  const list = () => part.querySelector("[data-body-list]");

  function pointOut({ frames, playing }) {
    if (playing) return; // the page stays still beneath moving pictures
    const keys = new Set();
    for (const told of list().querySelectorAll("article[data-body]")) {
      const { view, frame, body } = told.dataset;
      told.hidden = frame === undefined || frames?.[view] !== Number(frame);
      if (!told.hidden) keys.add(body);
    }
    for (const row of list().querySelectorAll("li[data-key]"))
      row.classList.toggle("now", keys.has(row.dataset.key));
  }

  part.addEventListener("click", (event) => {
    const link = event.target.closest("a.jump-to");
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    room.jump({ view: link.dataset.view, frame: Number(link.dataset.frame) });
  });
  part.addEventListener("submit", (event) => {
    if (!event.target.matches("[data-body-take-away]")) return;
    event.preventDefault();
    const form = event.target;
    if (form.dataset.sent) return; // once: the second press would find nothing there any more
    form.dataset.sent = "yes";
    takeAway(form.action).finally(() => delete form.dataset.sent);
  });

  return {
    pointOut,
    swap(html) {
      const fresh = new DOMParser().parseFromString(html, "text/html")
        .querySelector("[data-body-list]");
      if (!fresh) return;
      const named = (one) => `[data-body-open="${CSS.escape(one.dataset.bodyOpen)}"]`;
      for (const one of list().querySelectorAll("details[open]"))
        fresh.querySelector(named(one))?.setAttribute("open", "");
      const inFrames = document.activeElement?.closest("[data-body-open=frames]");
      list().replaceWith(fresh);
      if (inFrames) fresh.querySelector("[data-body-open=frames] > summary")?.focus();
      pointOut(room.now());
    },
  };
}
