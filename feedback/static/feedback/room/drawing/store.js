// The drawings of the swim as this page has them. What is drawn stands at once; what could not
// be saved stays on screen and says so.

import { labelOf } from "./geometry.js";
import { createHistory } from "./history.js";
import { Refused } from "./saving.js";

const fieldsOf = (one) => ({
  key: one.key, clip: one.view, frame: one.frame, kind: one.kind, straight: one.straight,
  until_frame: one.until_frame > one.frame ? one.until_frame : null,
  points: one.points, colour: one.colour, comment: one.comment, for_coaches: one.for_coaches,
});

export function createStore(first, { saving, words, onChange, onTrouble }) {
  let all = first;
  const history = createHistory(() => onChange(all));
  const find = (key) => all.find((one) => one.key === key);

  function set(drawings) {
    all = drawings;
    onChange(all);
  }
  const put = (drawing) => set(find(drawing.key)
    ? all.map((one) => (one.key === drawing.key ? drawing : one)) : [...all, drawing]);
  const away = (key) => set(all.filter((one) => one.key !== key));

  // Runs; what was refused is said, and the promise fails.
  async function tried(work, failed) {
    try {
      onTrouble("");
      return await work();
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      failed(error.message);
      onTrouble(error.message);
      throw error;
    }
  }

  async function save(drawing) {
    put({ ...drawing, trouble: "" });
    const saved = await tried(() => saving.draw(fieldsOf(drawing)),
      (trouble) => put({ ...drawing, trouble }));
    put(saved);
  }

  async function rubOut(key) {
    const drawing = find(key);
    away(key);
    if (!drawing || !drawing.rub_out) return; // never saved
    await tried(() => saving.rubOut(drawing), () => put(drawing));
  }

  async function move(key, points, before) {
    const drawing = find(key);
    const label = (to) => labelOf(drawing.kind, to, drawing.width_px, drawing.height_px);
    put({ ...drawing, points, label: label(points) });
    if (!drawing.move) return save({ ...drawing, points, label: label(points) });
    put(await tried(() => saving.move(drawing, points),
      () => put({ ...drawing, points: before, label: label(before) })));
  }

  async function stand(key, until_frame) {
    const drawing = find(key);
    const stands = { ...drawing, until_frame };
    put(stands);
    if (!drawing.stand) return save(stands); // never saved
    put(await tried(() => saving.stand(drawing, until_frame), () => put(drawing)));
  }

  const quietly = (promise) => promise.catch((error) => {
    if (!(error instanceof Refused)) throw error;
  });

  return {
    all: () => all,
    find,
    history,
    unsaved: () => all.some((one) => one.trouble),
    preview(key, points) { put({ ...find(key), points }); },
    draw(told) {
      const key = crypto.randomUUID();
      const label = labelOf(told.kind, told.points, told.width_px, told.height_px);
      const drawing = { key, mine: true, comment: null, label, ...told };
      drawing.words = words(drawing);
      history.add({ undo: () => rubOut(key), redo: () => save(drawing) });
      return quietly(save(drawing));
    },
    again: (key) => quietly(save(find(key))),
    rubOut(key) {
      const drawing = find(key);
      history.add({ undo: () => save(drawing), redo: () => rubOut(key) });
      return quietly(rubOut(key));
    },
    move(key, points, before) {
      const there = JSON.stringify(points) === JSON.stringify(before);
      if (there) return Promise.resolve();
      history.add({ undo: () => move(key, before, points), redo: () => move(key, points, before) });
      return quietly(move(key, points, before));
    },
    // How long it stands: until this frame of its view.
    stand(key, until_frame) {
      const before = find(key).until_frame ?? find(key).frame;
      if (until_frame === before) return Promise.resolve();
      history.add({ undo: () => stand(key, before), redo: () => stand(key, until_frame) });
      return quietly(stand(key, until_frame));
    },
    undo: () => quietly(history.undo()),
    redo: () => quietly(history.redo()),
  };
}
