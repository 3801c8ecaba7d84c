// A lane strip in words: the list under it, in order of time. Each line is a button that goes
// where it says, as a tap on the strip does; lines of pins and flags follow what is drawn.

const NAMED = { pin: ({ wordsPinNamed }) => wordsPinNamed, flag: ({ wordsFlagNamed }) => wordsFlagNamed };

export function startWords(strip, slider, { move, send }) {
  const words = strip.querySelector("[data-lane-words]");
  const list = words.querySelector("ol");
  const went = words.querySelector("[data-lane-went]");
  const seconds = new Intl.NumberFormat(document.documentElement.lang, {
    minimumFractionDigits: 1, maximumFractionDigits: 1, useGrouping: false,
  });
  let asked = false;

  function go({ kind, key, at }) {
    asked = true;
    if (key && kind in NAMED) send(`lane-strip:${kind}`, { key });
    else move(Number(at));
  }
  function write(item, text) {
    let button = item.querySelector("button");
    if (!button) {
      button = document.createElement("button");
      [button.type, button.className] = ["button", "plain"];
      button.addEventListener("click", () => go(item.dataset));
      item.replaceChildren(button);
    }
    button.textContent = text;
  }
  function put(item, at_s) {
    const later = [...list.children].find((one) => one !== item && Number(one.dataset.at) > at_s);
    item.dataset.at = at_s;
    if (later) later.before(item);
    else list.append(item);
  }
  function renew(kind, things) {
    const old = new Map([...list.querySelectorAll(`[data-kind="${kind}"]`)]
      .map((item) => [item.dataset.key, item]));
    for (const { at_s, key, name } of things) {
      const item = old.get(key) ?? document.createElement("li");
      old.delete(key);
      const text = name ? NAMED[kind](list.dataset) : list.dataset.wordsPin;
      write(item, text.replace("{at}", seconds.format(at_s)).replace("{name}", () => name));
      // who reads there keeps the place: a line that stands right is not moved
      if (item.parentElement && Number(item.dataset.at) === at_s) continue;
      Object.assign(item.dataset, { kind, key });
      put(item, at_s);
    }
    for (const item of old.values()) item.remove();
    words.hidden = list.children.length === 0;
  }

  for (const item of list.children) write(item, item.textContent.replace(/\s+/g, " ").trim());
  strip.addEventListener("lane-strip:pins", ({ detail }) => renew("pin", detail));
  strip.addEventListener("lane-strip:flags", ({ detail }) => renew("flag", detail));
  // Where one has come to is said once, when the page shows it.
  strip.addEventListener("lane-strip:show", () => {
    if (!asked) return;
    asked = false;
    went.textContent = slider.ariaValueText;
  });
}
