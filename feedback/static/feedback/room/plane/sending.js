// What the page asks the server for: placing, a look at what would be placed, taking away, reading.

import { numberOf } from "./holding.js";

export function createSending(part) {
  const token = () => part.querySelector("[name=csrfmiddlewaretoken]").value;

  async function ask(url, options = {}) {
    try {
      const answer = await fetch(url, {
        credentials: "same-origin", ...options,
        headers: { Accept: "application/json", ...options.headers },
      });
      const told = await answer.json();
      return answer.ok || told.errors ? told : { errors: [part.dataset.notSent] };
    } catch {
      return { errors: [part.dataset.notSent] };
    }
  }
  const post = (url, fields) => ask(url, {
    method: "POST", body: fields, headers: { "X-CSRFToken": token() },
  });
  // One after the other: all planes come back, and the last answer is what the server has.
  let before = Promise.resolve();
  const change = (url, fields) => (before = before.then(() => post(url, fields)));

  return {
    // `form`: for which frames and how the plane lies; `place`: { view, frame }.
    place(form, place, marks, { onlyLook = false } = {}) {
      const fields = new FormData();
      const told = marks.map(({ x, y, along, across, what, cm }) => ({
        x, y, what,
        along_m: numberOf(along), across_m: numberOf(across), plus_minus_cm: numberOf(cm),
      }));
      const { span, lies, distance_m } = form.elements;
      fields.set("clip", place?.view ?? "");
      fields.set("frame", place?.frame ?? "");
      fields.set("span", span.value);
      fields.set("lies", lies.value);
      fields.set("distance_m", distance_m.value.trim().replace(",", "."));
      fields.set("marks", JSON.stringify(told));
      if (onlyLook) fields.set("only_look", "1");
      return (onlyLook ? post : change)(part.dataset.place, fields);
    },
    takeAway: (url) => change(url, new FormData()),
    read(view, frame, points) {
      const asked = new URLSearchParams({ clip: view, frame });
      points.forEach(([x, y], n) => {
        asked.set(n ? "x2" : "x", x);
        asked.set(n ? "y2" : "y", y);
      });
      return ask(`${part.dataset.reading}?${asked}`);
    },
  };
}
