// The list of marks placed, drawn from its <template>: words go in as text, never as markup.

import { keepFocus } from "./kept-focus.js";
import { secondsFormat } from "./seconds.js";

export function createMarkList(part) {
  const list = part.querySelector("[data-mark-list]");
  const seconds = secondsFormat();
  const time = (at_s) => (at_s === null ? part.dataset.timeUnknown
    : part.dataset.time.replace("{at}", seconds.format(at_s)));

  function item(mark) {
    const row = part.querySelector("[data-mark-item]").content.firstElementChild.cloneNode(true);
    const [link, plain] = row.querySelectorAll(".jump-to");
    const [shown, other] = mark.frame === null ? [plain, link] : [link, plain];
    other.remove();
    shown.textContent = time(mark.at_s);
    if (mark.frame !== null) link.href = `?view=${mark.view}&at=${mark.frame}`;
    row.dataset.key = mark.key;
    row.querySelector("[data-what]").textContent = mark.label;
    row.querySelector("[data-where]").textContent = mark.view_name ?? part.dataset.noView;
    row.querySelector("[data-who]").textContent = mark.by;
    const state = row.querySelector(".state");
    if (mark.sure === null) state.remove();
    else {
      state.textContent = mark.sure;
      if (mark.sure_class) state.classList.add(mark.sure_class);
    }
    row.querySelector("[data-in-picture]").textContent = mark.where;
    const away = row.querySelector("form");
    const after = row.querySelector("[data-place-after]");
    if (!mark.take_away || mark.frame === null || mark.kind === "start-signal") after.remove();
    else after.ariaLabel = after.dataset.label.replace("{label}", mark.label);
    if (!mark.take_away) away.remove();
    else {
      away.action = mark.take_away;
      const button = away.querySelector("button");
      button.ariaLabel = button.dataset.label.replace("{label}", mark.label);
    }
    return row;
  }

  return {
    time,
    show(marks) {
      list.hidden = marks.length === 0;
      list.querySelector("[data-mark-count]").textContent = marks.length;
      keepFocus(list, () => list.querySelector("ol").replaceChildren(...marks.map(item)));
    },
    // The marks of frames that are on screen are pointed out.
    pointOut(marks, frames) {
      const here = new Set(marks
        .filter((mark) => mark.frame !== null && frames?.[mark.view] === mark.frame)
        .map((mark) => mark.key));
      for (const row of list.querySelectorAll("li")) row.classList.toggle("now", here.has(row.dataset.key));
    },
  };
}
