// The list of planes, drawn anew from its <template>: words go in as text, never as markup.

import { keepFocus } from "../kept-focus.js";

export function createPlaneList(part) {
  const box = part.querySelector("[data-plane-list]");
  const template = part.querySelector("[data-plane-item]");

  function item(plane) {
    const row = template.content.firstElementChild.cloneNode(true);
    const find = (name) => row.querySelector(name);
    const link = find(".jump-to");
    link.textContent = plane.names;
    link.href = `?view=${plane.view}&at=${plane.frame}`;
    [row.dataset.key, row.dataset.view, row.dataset.frame] = [plane.key, plane.view, plane.frame];
    for (const name of ["title", "holds", "by"]) find(`[data-${name}]`).textContent = plane[name];
    find("ul").replaceChildren(...plane.said.map((sentence) => {
      const line = document.createElement("li");
      line.textContent = sentence;
      return line;
    }));
    const away = find("form");
    if (!plane.take_away) away?.remove();
    else if (away) {
      away.action = plane.take_away;
      const button = away.querySelector("button");
      button.ariaLabel = button.dataset.label.replace("{name}", plane.names).replace("{by}", plane.by);
    }
    return row;
  }

  return {
    show(planes) {
      box.hidden = planes.length === 0;
      keepFocus(box, () => box.querySelector("ol").replaceChildren(...planes.map(item)));
    },
    pointOut(key) {
      for (const row of box.querySelectorAll("li[data-key]")) row.classList.toggle("now", row.dataset.key === key);
    },
  };
}
