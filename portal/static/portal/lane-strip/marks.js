// What is put on a lane strip after it was drawn, as in the template: pins of words, flags of
// marks, a loop. And which of them a finger means.

const PIN_REACH_PX = 12;
const FLAG_REACH_PX = 10;

function make(name, attributes, ...parts) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [attribute, value] of Object.entries(attributes))
    element.setAttribute(attribute, value);
  element.append(...parts);
  return element;
}

const titled = (name) => {
  if (!name) return [];
  const title = make("title", {});
  title.textContent = name;
  return [title];
};

// Over a span a bar goes from the pin to its end.
export function drawPin({ at_s, until_s, key, name }, percent) {
  const from = percent(at_s);
  const outer = { x: `${from}%`, overflow: "visible", "data-key": key, "data-pin": "" };
  const parts = [make("path", { class: "pin-stem", d: "M0 9V16" })];
  if (until_s !== undefined && until_s !== null && until_s > at_s)
    parts.push(make("rect", {
      class: "pin-span", y: 5.5, height: 3, width: `${percent(until_s) - from}%`,
    }));
  parts.push(make("circle", { class: "pin", cy: 7, r: 5.5 }));
  return make("svg", outer, ...titled(name), ...parts);
}

export function drawFlag({ at_s, key, name }, percent) {
  const outer = { x: `${percent(at_s)}%`, overflow: "visible", "data-key": key, "data-flag": "" };
  return make("svg", outer, ...titled(name), make("path", { class: "flag", d: "M0 52V20l10 4-10 4" }));
}

// A band under the water; each end that is set has a bracket.
export function drawLoop({ from_s, to_s }, percent) {
  const parts = [];
  const end = (at_s, d) => {
    if (at_s === null) return;
    const place = { x: `${percent(at_s)}%`, overflow: "visible", "data-loop": "" };
    parts.push(make("svg", place, make("path", { class: "loop-end", d })));
  };
  if (from_s !== null && to_s !== null)
    parts.push(make("rect", {
      class: "loop", "data-loop": "", y: 55, height: 4,
      x: `${percent(from_s)}%`, width: `${percent(to_s) - percent(from_s)}%`,
    }));
  end(from_s, "M5 14H0V59H5");
  end(to_s, "M-5 14H0V59H-5");
  return parts;
}

// Pins stand above the water, flags at the far rope: a touch near one's head means it, and not
// the instant. { kind, key }, or null.
export function chosenAt(slider, event) {
  const y = event.clientY - slider.getBoundingClientRect().top;
  if (y <= 20) {
    const pin = nearest(slider, "[data-pin]", "circle", event.clientX, PIN_REACH_PX);
    if (pin) return { kind: "pin", key: pin };
  }
  if (y > 14 && y <= 32) {
    const flag = nearest(slider, "[data-flag]", "path", event.clientX, FLAG_REACH_PX);
    if (flag) return { kind: "flag", key: flag };
  }
  return null;
}

function nearest(slider, kind, shape, x, reach) {
  let [best, away] = [null, reach];
  for (const one of slider.querySelectorAll(kind)) {
    const box = one.querySelector(shape).getBoundingClientRect();
    const distance = Math.abs(box.x + box.width / 2 - x);
    if (distance <= away) [best, away] = [one.dataset.key, distance];
  }
  return best;
}
