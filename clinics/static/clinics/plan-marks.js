// Makes what the server drew reachable by keys, with names that say where it stands and looks; and
// the figures to type say the same.

import { sightOf } from "./plan-sight.js";

const FIELDS = { x_m: "x", y_m: "y", z_m: "z", bearing_deg: "bearing" };

export const placeForm = (key) => document.querySelector(`[data-place="${key}"]`);

function give(part, attributes) {
  for (const [name, value] of Object.entries(attributes)) part.setAttribute(name, value);
}

// The page's own words, from its data-said- attributes, with figures in them.
export function wordsOf({ dataset }) {
  const format = new Intl.NumberFormat(document.documentElement.lang, { maximumFractionDigits: 2 });
  const figure = (value) => (typeof value === "number" ? format.format(value) : value);
  const key = (name) => `said${name[0].toUpperCase()}${name.slice(1)}`;
  return (name, values = {}) =>
    dataset[key(name)].replace(/\{(\w+)\}/g, (_all, word) => figure(values[word]));
}

export function label(plan, stand, pool, words) {
  for (const mark of plan.querySelectorAll(`[data-station="${stand.key}"]`)) {
    const number = mark.querySelector(".number").textContent;
    mark.setAttribute("aria-label", words("mark", { ...stand, number }));
  }
  const bearing = Math.round(sightOf(stand, pool).bearing);
  for (const knob of plan.querySelectorAll(`[data-handle="${stand.key}"]`)) {
    give(knob, {
      "aria-label": words("knob", stand),
      "aria-valuenow": bearing - 360 * Math.round(bearing / 360),
      "aria-valuetext": `${bearing}°`,
    });
  }
}

export function makeMovable(plan, stands, pool, words) {
  for (const mark of plan.querySelectorAll("[data-station]")) {
    give(mark, {
      tabindex: "0",
      role: "button",
      "aria-roledescription": plan.dataset.saidRole,
      "aria-describedby": "plan-hint",
    });
  }
  for (const knob of plan.querySelectorAll("[data-handle]")) {
    give(knob, { tabindex: "0", role: "slider", "aria-valuemin": -180, "aria-valuemax": 180 });
  }
  for (const stand of stands.values()) {
    label(plan, stand, pool, words);
    const form = placeForm(stand.key);
    if (form.contains(document.activeElement)) continue; // somebody types there
    for (const [name, of] of Object.entries(FIELDS)) {
      const field = form.elements[name];
      if (field.value !== field.defaultValue) continue; // typed, and not sent yet
      field.value = field.defaultValue = stand[of] ?? "";
    }
  }
}

// How to find again what has the focus, once it has been drawn anew.
export function focusOf(element) {
  const part = element?.closest("[data-station], [data-handle], [data-plan-undo]");
  if (!part) return null;
  const { station, handle } = part.dataset;
  if (station) return `[data-station="${station}"]`;
  return handle ? `[data-handle="${handle}"]` : "[data-plan-undo] button";
}
