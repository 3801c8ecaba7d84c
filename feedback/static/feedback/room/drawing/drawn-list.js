// The list of what is drawn, made from its <template>: words go in as text, never as markup.

import { keepFocus } from "../kept-focus.js";
import { secondsFormat } from "../seconds.js";
import { untilFrame } from "./lasting.js";
import { showSpan } from "./stands-for.js";

export function createDrawnList(part, { go, rubOut, again, stand, viewOf }) {
  const list = part.querySelector("[data-drawn-list]");
  const template = part.querySelector("[data-drawn-item]");
  const seconds = secondsFormat();
  const time = (at_s) => (at_s === null || at_s === undefined ? part.dataset.timeUnknown
    : part.dataset.time.replace("{at}", seconds.format(at_s)));

  function item(drawing) {
    const row = template.content.firstElementChild.cloneNode(true);
    const [link, plain] = row.querySelectorAll(".jump-to");
    const [shown, other] = drawing.frame === null ? [plain, link] : [link, plain];
    other.remove();
    shown.textContent = time(drawing.at_s);
    if (drawing.frame !== null) link.href = `?view=${drawing.view}&at=${drawing.frame}`;
    row.dataset.key = drawing.key;
    row.querySelector("[data-what]").textContent = drawing.words;
    row.querySelector("[data-where]").textContent = drawing.view_name ?? part.dataset.noView;
    row.querySelector("[data-state]").textContent = drawing.trouble
      ? part.dataset.unsaved : drawing.state ?? "";
    row.querySelector("[data-who]").textContent = drawing.by ?? "";
    const [lasting, select] = ["[data-lasting]", "[data-stands]"].map((name) => row.querySelector(name));
    if (!drawing.mine || !stand || drawing.frame === null) lasting.remove();
    else {
      showSpan(select, viewOf(drawing.view), drawing, part.dataset.frames);
      select.ariaLabel = select.dataset.label.replace("{label}", drawing.words);
      select.addEventListener("change", () => stand(drawing.key,
        untilFrame(viewOf(drawing.view), drawing.frame, Number(select.value))));
    }
    const away = row.querySelector("form");
    const retry = row.querySelector("[data-again]");
    retry.hidden = !drawing.trouble;
    if (!drawing.mine) away.remove();
    else {
      away.action = drawing.rub_out ?? "";
      const button = away.querySelector("button");
      button.ariaLabel = button.dataset.label.replace("{label}", drawing.words);
    }
    return row;
  }

  const keyOf = (element) => element.closest("li").dataset.key;
  list.addEventListener("click", (event) => {
    const link = event.target.closest("a.jump-to");
    if (event.target.closest("[data-again]")) again(keyOf(event.target));
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    go(keyOf(link));
  });
  list.addEventListener("submit", (event) => {
    event.preventDefault();
    rubOut(keyOf(event.target));
    list.querySelector("summary").focus();
  });

  return {
    show(drawings) {
      const ordered = [...drawings].sort((a, b) => (a.at_s ?? Infinity) - (b.at_s ?? Infinity));
      list.hidden = drawings.length === 0;
      list.querySelector("[data-drawn-count]").textContent = drawings.length;
      keepFocus(list, () => list.querySelector("ol").replaceChildren(...ordered.map(item)));
    },
  };
}
