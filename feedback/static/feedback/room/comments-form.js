// The form to say something: it carries which frame of which view is on screen, or the two ends
// of a span, and never a time. Phrases are put to the words where the cursor stands.
//
// The form may be replaced at any time (htmx), so it is found anew.

import { secondsFormat } from "./seconds.js";

const form = () => document.querySelector("[data-say]");

export function startForm(room) {
  const seconds = secondsFormat();
  let span = null; // {view, frame, at_s}: where a span began

  // The two ends in order, whichever was shown first; one where no span is open in this view.
  const ends = ({ main, frame, at_s }) => {
    const here = { frame, at_s };
    if (span?.view !== main || span.frame === frame) return [here, null];
    return span.frame < frame ? [span, here] : [here, span];
  };

  function fill(now) {
    const say = form();
    if (!say || !now || now.frame === null || now.frame === undefined) return;
    if (span && span.view !== now.main) return; // the span waits in its own view
    const [from, until] = ends(now);
    say.elements.clip.value = now.main;
    say.elements.frame.value = from.frame;
    say.elements.until_frame.value = until?.frame ?? "";
    const words = until ? say.dataset.spanWords : say.dataset.atWords;
    say.querySelector("[data-say-at]").textContent = words
      .replace("{at}", () => seconds.format(from.at_s))
      .replace("{until}", () => (until ? seconds.format(until.at_s) : ""))
      .replace("{name}", () => room.view(now.main).name);
  }

  function showSpan() {
    const button = form()?.querySelector("[data-span-from]");
    if (button) button.ariaPressed = String(span !== null);
  }

  function toggleSpan() {
    const now = room.now();
    if (!span && now.frame === null) return; // no picture: a span cannot begin there
    span = span ? null : { view: now.main, frame: now.frame, at_s: now.at_s };
    showSpan();
    fill(now);
  }

  function insert({ value, textContent, dataset }) {
    const { text, phase } = form().elements;
    const { selectionStart: at, selectionEnd: end, value: before } = text;
    const gap = at > 0 && !/\s$/.test(before.slice(0, at)) ? " " : "";
    text.setRangeText(gap + textContent.trim(), at, end, "end");
    if (!phase.value) phase.value = dataset.phase;
    const used = Object.assign(document.createElement("input"), { type: "hidden", name: "used", value });
    form().append(used);
    text.focus();
  }

  document.addEventListener("click", (event) => {
    const phrase = event.target.closest("[data-phrase]");
    if (event.target.closest("[data-span-from]")) toggleSpan();
    if (!phrase) return;
    event.preventDefault();
    insert(phrase);
  });

  return {
    fill,
    // Another form came: said, so the span is over; not accepted, so what was asked for stays.
    renewed(accepted) {
      if (accepted) span = null;
      showSpan();
    },
    write: () => form()?.elements.text.focus(),
  };
}
