// The form under the marks: for which frames they hold, how the plane lies, how they fit, keeping.

import { numberOf } from "./holding.js";

const LEAST = 4;
const LOOK_AFTER_MS = 400;

export function createPlaneForm(part, sending, marks, { views, kept }) {
  const form = part.querySelector("[data-plane-form]");
  const find = (name) => form.querySelector(name);
  const [fit, error] = ["[data-plane-fit]", "[data-plane-error]"].map(find);
  let later = 0;
  let asked = 0;
  let keeping = false;

  const complain = (sentences) => {
    error.hidden = !sentences.length;
    error.replaceChildren(...sentences.map(line));
  };
  function line(sentence) {
    const item = document.createElement("li");
    item.textContent = sentence;
    return item;
  }
  const upright = () => form.elements.lies.value === "upright";

  function showLies() {
    for (const label of form.querySelectorAll("[data-across-label]"))
      label.textContent = upright() ? part.dataset.up : part.dataset.across;
  }

  // What a view begins with: a camera that moves holds for one frame, one under water looks along.
  function begin(view) {
    const { moves, wet } = views[view];
    find("[data-plane-walks]").hidden = !moves;
    for (const option of form.elements.span.options) option.disabled = moves && option.value !== "frame";
    if (moves) form.elements.span.value = "frame";
    else if (form.elements.span.selectedOptions[0]?.disabled) form.elements.span.value = "whole";
    form.elements.lies.value = wet ? "upright" : "flat";
    showLies();
  }

  const whole = () => marks.all().every((one) =>
    [one.along, one.across, one.cm].every((text) => numberOf(text) !== null));

  async function look() {
    const mine = (asked += 1);
    if (marks.all().length < LEAST || !whole()) return fit.replaceChildren();
    const told = await sending.place(form, marks.place(), marks.all(), { onlyLook: true });
    if (mine !== asked) return;
    fit.replaceChildren(...[...(told.errors ?? []), ...(told.fit ?? []), ...(told.cautions ?? [])].map(line));
  }

  function changed() {
    showLies();
    form.classList.toggle("begun", marks.all().length > 0);
    find("[data-plane-keep]").disabled = keeping || marks.all().length === 0;
    asked += 1;
    clearTimeout(later);
    later = setTimeout(look, LOOK_AFTER_MS);
  }

  form.addEventListener("change", changed);
  form.elements.distance_m.addEventListener("input", changed);
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const keep = find("[data-plane-keep]");
    if (keep.disabled) return;
    keeping = keep.disabled = true;
    const sent = marks.all();
    const told = await sending.place(form, marks.place(), sent);
    keeping = keep.disabled = false;
    complain(told.errors ?? []);
    if (told.errors) return;
    const over = marks.all() === sent; // what was set or typed meanwhile is not kept yet, and stays
    if (over) marks.drop();
    form.hidden = over;
    kept(told.planes, over);
  });
  find("[data-plane-drop]").addEventListener("click", () => {
    marks.drop();
    complain([]);
  });

  return {
    element: form,
    begin,
    changed,
    open(view) {
      form.hidden = false;
      if (!marks.all().length) begin(view);
    },
  };
}
