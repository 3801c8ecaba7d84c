// Setting marks of known place: taps or the cross-hair set them, hands and arrows move them, the
// form says where they are. From the fourth on the page says how they fit, before they are kept.

import { startHandles } from "../drawing/handles.js";
import { startHand } from "./hand.js";
import { createMarkRows } from "./mark-rows.js";
import { createPlaneForm } from "./plane-form.js";
import { makeSetMarks } from "./set-marks.js";
import { numbered } from "./sheets.js";

export function startSetting(room, part, sheets, sending, { kept, say }) {
  const { views } = JSON.parse(document.getElementById("plane-setting").textContent);
  const words = part.dataset;
  const marks = makeSetMarks({ changed });
  const button = part.querySelector("[data-plane-set]");
  const form = createPlaneForm(part, sending, marks, { views, kept: done });
  const rows = createMarkRows(form.element, marks, { focusBack: (field) => field.blur() });

  // On which frames what is set stands: of a camera that moves on its own alone.
  const stands = (view, frame) => {
    const place = marks.place();
    return place?.view === view && (!views[view].moves || place.frame === frame);
  };
  const overlay = {
    sheet: sheets.sheet,
    shown(view) {
      if (!stands(view, room.now().frames?.[view])) return [];
      const points = marks.all().map(({ x, y }) => [x, y]);
      return [{ key: "set", mine: true, kind: "known", points }];
    },
  };
  const handles = startHandles(sheets.room, overlay, {
    preview: (_key, points) => paint(points),
    move: (_key, points) => marks.move(points),
  }, {
    active: () => hand.inHand() || marks.all().length > 0,
    label: (_drawing, n) => words.handleLabel.replace("{n}", n + 1),
  });
  const hand = startHand(room, sheets, button, { tool: "metres", point, onTake });

  function paint(points) {
    for (const sheet of sheets.all()) {
      const [shown] = overlay.shown(sheet.view.key);
      const here = shown ? points ?? shown.points : [];
      sheet.set.replaceChildren(...here.map((one, n) => numbered(one, n + 1, sheet, "set-mark")));
    }
  }

  function changed() {
    rows.show();
    form.changed();
    paint();
    handles.refresh();
  }

  function point(view, at, how) {
    const frame = room.now().frames?.[view.key];
    if (frame === null || frame === undefined) return;
    const place = marks.place();
    if (place && place.view !== view.key)
      return say(words.otherView.replace("{name}", room.view(place.view).name));
    if (place && !stands(view.key, frame)) return say(words.otherFrame);
    if (!place) form.begin(view.key);
    const { key } = marks.add(view.key, frame, at, rows.usual());
    say(words.markSet.replace("{n}", marks.all().length));
    if (how !== "touch") rows.focus(key);
  }

  function onTake(on) {
    if (on) form.open(room.now().main);
    say(on ? words.setHint : "");
    handles.refresh();
  }
  function done(planes, over) {
    if (over) hand.take(false);
    kept(planes);
  }

  room.element.addEventListener("room:frame", () => { paint(); handles.refresh(); });
  window.addEventListener("beforeunload", (event) => {
    if (marks.all().length) event.preventDefault();
  });
  return { resized() { paint(); handles.refresh(); } };
}
