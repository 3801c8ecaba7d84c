// Lists of the pool's consent page: who is to be asked, as the phone keeps it, and what the server
// did not take.

import { drawList as draw, fromTemplate, parts, setText, twice } from "./start-log-words.js";

const FILM = "film-and-review";

export function fill(text, values) {
  return text.replace(/\{(\w+)\}/g, (_, name) => values[name] ?? "");
}

// Without a network there is no list on the page: it is drawn from { entries, as_of_ms }.
export function drawList(page, pool) {
  const part = parts(page);
  const words = page.dataset;
  const waiting = (pool?.entries ?? []).filter((entry) => entry.asks.includes(FILM));
  part("nobody")?.remove();
  draw(part("waiting"), waiting, (one) => one.number, fromTemplate(page, "one"), (item, one) => {
    const inside = parts(item);
    item.dataset.entry = one.number;
    inside("choose").dataset.choose = one.number;
    setText(inside("one-number"), String(one.number));
    setText(inside("one-name"), one.name);
    setText(inside("one-whose"), `: ${one.name}`);
  });
  const at = new Date(pool?.as_of_ms ?? 0).toLocaleTimeString(document.documentElement.lang, {
    timeZone: words.zone,
    hour: "2-digit",
    minute: "2-digit",
    hourCycle: "h23",
  });
  setText(part("as-of"), pool ? fill(words.wordsAsOf, { at }) : words.wordsNoList);
}

export function drawRefused(page, items, forget) {
  const list = parts(page)("refused-list");
  const words = page.dataset;
  list.hidden = !items.length;
  const make = () => document.createElement("li");
  draw(list, items, (item) => item.id, make, (element, item) => {
    if (element.firstChild) return; // it does not change any more
    const why = `${item.body.number} ${item.errors.join(" ")}`;
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = words.wordsRemove;
    twice(button, words.wordsRemoveSure, () => forget(item));
    element.append(fill(words.wordsRefused, { why }), " ", button);
  });
}
