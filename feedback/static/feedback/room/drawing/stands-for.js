// “Stands for”: of what will be drawn next, or, with “Move points” in hand, of the drawing whose
// point was taken last.

import { choiceOf, untilFrame } from "./lasting.js";

// A choice shows how long a drawing stands; what is none of its lengths is said in frames.
export function showSpan(select, view, drawing, words) {
  select.querySelector("[data-odd]")?.remove();
  const options = [...select.options];
  const span_s = choiceOf(view, drawing, options.map(({ value }) => Number(value)));
  if (span_s !== null) {
    select.value = options.find(({ value }) => Number(value) === span_s).value;
    return;
  }
  const odd = new Option(words.replace("{n}", drawing.until_frame - drawing.frame + 1), "");
  odd.dataset.odd = "";
  select.prepend(odd);
  select.value = "";
}

export function startStandsFor(room, part, { moving, own, stand }) {
  const choice = part.querySelector("[name=drawing-span]");
  const note = part.querySelector("[data-stands-of]");
  let next_s = choice.value; // for what will be drawn
  let taken = null; // key

  const current = () => {
    const here = moving() ? own() : [];
    return here.find(({ key }) => key === taken) ?? (here.length === 1 ? here[0] : null);
  };
  function show() {
    const drawing = current();
    choice.disabled = moving() && !drawing;
    note.textContent = drawing?.words ?? (moving() ? part.dataset.takeAPoint : "");
    if (drawing) return showSpan(choice, room.view(drawing.view), drawing, part.dataset.frames);
    choice.querySelector("[data-odd]")?.remove();
    choice.value = next_s;
  }
  choice.addEventListener("change", () => {
    const drawing = current();
    if (!drawing) next_s = choice.value;
    else stand(drawing.key, untilFrame(room.view(drawing.view), drawing.frame, Number(choice.value)));
  });
  return {
    show,
    take(key) {
      taken = key;
      show();
    },
  };
}
