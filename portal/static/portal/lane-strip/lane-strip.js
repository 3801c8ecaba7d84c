// A lane strip that is moved: by pointer, by touch, by keyboard.
//
// Started on every [data-lane-strip]. It knows nothing of pictures. It sends, from the strip:
//   lane-strip:move  detail {at_s}   the person chose an instant
//   lane-strip:pin   detail {key}    the person chose a pin
//   lane-strip:step  detail {steps}  arrow keys; if cancelled, the page steps itself (frames)
// and listens there for
//   lane-strip:show  detail {at_s, text}   the present instant, and how to say it
//   lane-strip:pins  detail [{at_s, key}]  the pins from now on

const PIN_REACH_PX = 12;
const STEP_S = 0.1;
const PAGE_S = 1;

export function start(strip) {
  const slider = strip.querySelector("[role=slider]");
  const cap = strip.querySelectorAll("[data-cap]"); // its wake, kept within the water, and itself
  const seconds = new Intl.NumberFormat(document.documentElement.lang, {
    minimumFractionDigits: 2,
    maximumFractionDigits: 2,
  });
  const ends = () => [Number(slider.ariaValueMin), Number(slider.ariaValueMax)];
  const now = () => Number(slider.ariaValueNow);
  const send = (name, detail) =>
    strip.dispatchEvent(new CustomEvent(name, { detail, bubbles: true, cancelable: true }));

  const show = (at_s, text) => {
    const [begin, end] = ends();
    const kept = Math.min(end, Math.max(begin, at_s));
    const x = `${(100 * (kept - begin)) / (end - begin)}%`;
    cap.forEach((part) => part.setAttribute("x", x));
    slider.ariaValueNow = kept.toFixed(3);
    slider.ariaValueText = text ?? `${seconds.format(kept)} s`;
  };
  const move = (at_s) => {
    const [begin, end] = ends();
    const kept = Math.min(end, Math.max(begin, at_s));
    show(kept);
    send("lane-strip:move", { at_s: kept });
  };

  strip.addEventListener("lane-strip:show", (event) => show(event.detail.at_s, event.detail.text));
  strip.addEventListener("lane-strip:pins", (event) => {
    slider.querySelectorAll("[data-pin]").forEach((pin) => pin.remove());
    const [begin, end] = ends();
    for (const { at_s, key } of event.detail)
      cap[cap.length - 1].before(drawPin((100 * (at_s - begin)) / (end - begin), key));
  });
  slider.addEventListener("pointerdown", (event) => {
    if (event.button > 0) return;
    const pin = pinAt(slider, event);
    if (pin) return void send("lane-strip:pin", { key: pin.dataset.key });
    slider.setPointerCapture(event.pointerId);
    move(instantAt(slider, event, ends()));
  });
  slider.addEventListener("pointermove", (event) => {
    if (slider.hasPointerCapture(event.pointerId)) move(instantAt(slider, event, ends()));
  });
  slider.addEventListener("keydown", (event) => {
    if (event.altKey || event.ctrlKey || event.metaKey) return;
    const [begin, end] = ends();
    const steps = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1 }[event.key];
    const target = {
      PageDown: now() - PAGE_S, PageUp: now() + PAGE_S, Home: begin, End: end,
    }[event.key];
    if (steps === undefined && target === undefined) return;
    event.preventDefault();
    event.stopPropagation();
    if (target !== undefined) move(target);
    else if (send("lane-strip:step", { steps: event.shiftKey ? 10 * steps : steps }))
      move(now() + steps * STEP_S);
  });
}

// As in the template.
function drawPin(percent, key) {
  const make = (name, attributes) => {
    const element = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [attribute, value] of Object.entries(attributes)) element.setAttribute(attribute, value);
    return element;
  };
  const pin = make("svg", { x: `${percent}%`, overflow: "visible", "data-key": key, "data-pin": "" });
  pin.append(make("path", { class: "pin-stem", d: "M0 9V16" }), make("circle", { class: "pin", cy: 7, r: 5.5 }));
  return pin;
}

function instantAt(slider, event, [begin, end]) {
  const box = slider.getBoundingClientRect();
  return begin + ((end - begin) * (event.clientX - box.left)) / box.width;
}

// Pins stand above the water; a touch near one's head means the comment, not the instant.
function pinAt(slider, event) {
  const box = slider.getBoundingClientRect();
  if (event.clientY - box.top > 20) return null;
  const pins = [...slider.querySelectorAll("[data-pin]")].map((pin) => pin.querySelector("circle"));
  const centre = (circle) => {
    const rect = circle.getBoundingClientRect();
    return Math.abs(rect.x + rect.width / 2 - event.clientX);
  };
  const nearest = pins.sort((one, other) => centre(one) - centre(other))[0];
  return nearest && centre(nearest) <= PIN_REACH_PX ? nearest.closest("[data-pin]") : null;
}

document.querySelectorAll("[data-lane-strip]").forEach(start);
