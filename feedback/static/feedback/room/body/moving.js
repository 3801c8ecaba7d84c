// Points that stand are moved by hand or by arrows, and taken away one by one.

import { startHandles } from "../drawing/handles.js";

const STEP = 0.0025; // of the picture's height

export function startMoving(room, part, { sheets, store, words, active }) {
  const button = part.querySelector('[data-body-do="remove"]');
  const done = part.querySelector("[data-body-done]");
  const standing = new Map(); // view → what its handles were made of
  let picked = null; // { view, frame, name }

  const areas = new Map(room.views.map((view) =>
    [view.key, { ...view, overlay: sheets.sheet(view.key).area }]));

  // Own points as the handles know them; each knows its names, since the server may answer with
  // the points in another order while a hand holds one.
  function own(view) {
    const its = sheets.here(view).filter((body) => body.mine).map(({ frame, points }) => {
      const names = Object.keys(points);
      return { key: { view, frame, names }, mine: true, kind: "joint",
        points: names.map((name) => points[name].slice(0, 2)) };
    });
    standing.set(view, its[0]?.key);
    return its;
  }
  function moved({ view, frame, names }, points) {
    const made = { ...store.points(view, frame) };
    for (const [n, name] of names.entries()) {
      const before = made[name];
      if (!before || (before[0] === points[n][0] && before[1] === points[n][1])) continue;
      made[name] = [...points[n], sheets.finest(view)];
    }
    return made;
  }
  const handles = startHandles(
    { views: [...areas.values()], view: (key) => areas.get(key) },
    { sheet: sheets.sheet, shown: own },
    {
      preview: (of, points) => store.preview(of.view, of.frame, moved(of, points)),
      move(of, points, before) {
        if (JSON.stringify(points) === JSON.stringify(before)) return null;
        return store.save(of.view, of.frame, moved(of, points));
      },
    },
    {
      active, step: STEP,
      label: ({ key }, n) => part.dataset.point.replace("{point}", words(key.names[n])),
    },
  );

  function forget() {
    picked = null;
    button.hidden = true;
  }

  function pick(element) {
    const of = standing.get(element.closest("figure").dataset.view);
    const name = of?.names[Number(element.dataset.handle)];
    if (!name) return forget();
    picked = { view: of.view, frame: of.frame, name };
    button.hidden = false;
    done.textContent = part.dataset.picked.replace("{point}", words(name));
  }

  function remove() {
    if (!picked) return;
    const { view, frame, name } = picked;
    const points = { ...store.points(view, frame) };
    delete points[name];
    forget();
    store.save(view, frame, points);
    done.textContent = part.dataset.takenBack.replace("{point}", words(name));
  }

  // The focus stays on its point while the handles are made anew.
  function refresh() {
    const focused = document.activeElement;
    const ours = focused === document.body || focused?.closest("[data-body-overlay]");
    handles.refresh();
    if (!active()) return forget();
    if (!ours || !picked) return;
    const n = standing.get(picked.view)?.names.indexOf(picked.name) ?? -1;
    const again = sheets.sheet(picked.view).area.querySelector(`[data-handle="${n}"]`);
    if (again !== document.activeElement) again?.focus({ preventScroll: true });
  }

  for (const { overlay } of areas.values()) {
    for (const kind of ["pointerdown", "focusin"])
      overlay.addEventListener(kind, ({ target }) => {
        const handle = target.closest("[data-handle]");
        if (handle && active()) pick(handle);
      }, { capture: true });
    overlay.addEventListener("keydown", (event) => {
      const handle = event.target.closest("[data-handle]");
      if (!handle || (event.key !== "Delete" && event.key !== "Backspace")) return;
      event.preventDefault();
      handle.blur(); // what was moved is kept first
      remove();
    });
  }
  return { refresh, remove, forget };
}
