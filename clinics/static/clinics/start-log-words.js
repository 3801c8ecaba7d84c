// Sentences of the page (data-say-… of one element, filled in here) and times of day as it shows
// them; and a list drawn again without losing what somebody has open in it.

export class Words {
  constructor(element, zone) {
    this.told = element.dataset;
    const form = (digits) =>
      new Intl.DateTimeFormat(document.documentElement.lang, {
        timeZone: zone,
        hour: "2-digit",
        minute: "2-digit",
        hourCycle: "h23",
        ...(digits === null ? {} : { second: "2-digit" }),
        ...(digits ? { fractionalSecondDigits: digits } : {}),
      });
    this.forms = { minute: form(null), second: form(0), tenth: form(1) };
  }

  // say("away-not-filmed"), as in data-say-away-not-filmed; values go into its {braces}.
  say(name, values = {}) {
    const key = `say-${name}`.replace(/-([a-z])/g, (_, letter) => letter.toUpperCase());
    return (this.told[key] ?? name).replace(/\{(\w+)\}/g, (_, part) => values[part] ?? "");
  }

  time(ms, to = "second") {
    return this.forms[to].format(ms);
  }
}

export const parts = (page) => (name) => page.querySelector(`[data-${name}]`);

export function setText(element, text) {
  if (element && element.textContent !== text) element.textContent = text;
}

// Draws `items` into `list`: elements of items that stay are kept, so that focus, open panels and
// half-written notes stay, too. `make()` gives an empty element, `fill(element, item)` its words.
// What goes does so first: an element that is moved up past it would lose the focus.
export function drawList(list, items, keyOf, make, fill) {
  const keys = new Set(items.map((item) => String(keyOf(item))));
  for (const child of [...list.children]) if (!keys.has(child.dataset.key)) child.remove();
  const before = new Map([...list.children].map((child) => [child.dataset.key, child]));
  let place = list.firstElementChild;
  for (const item of items) {
    const key = String(keyOf(item));
    let element = before.get(key);
    if (!element) {
      element = make();
      element.dataset.key = key;
    }
    fill(element, item);
    if (element === place) place = place.nextElementSibling;
    else list.insertBefore(element, place);
  }
}

export const fromTemplate = (page, name) => () =>
  page.querySelector(`template[data-${name}]`).content.firstElementChild.cloneNode(true);

// A button that does something for good asks once more before it does.
export function twice(button, sure, act) {
  button.addEventListener("click", () => {
    if (button.dataset.asked) return act();
    button.dataset.asked = "yes";
    button.textContent = sure;
  });
}
