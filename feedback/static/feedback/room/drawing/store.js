// The drawings of the swim as this page has them. What is drawn stands at once; what could not
// be saved stays on screen and says so.

import { newId } from "../../../portal/new-id.js";
import { labelOf } from "./geometry.js";
import { createHistory } from "./history.js";
import { Refused } from "./saving.js";

export function createStore(first, { saving, words, onChange, onTrouble }) {
  let all = first;
  const history = createHistory(() => onChange(all));
  const asked = new Map(); // by key, how many times: only the last answer is shown
  let underWay = 0;
  const find = (key) => all.find((one) => one.key === key);

  function set(drawings) {
    all = drawings;
    onChange(all);
  }
  const put = (drawing) => set(find(drawing.key)
    ? all.map((one) => (one.key === drawing.key ? drawing : one)) : [...all, drawing]);
  const away = (key) => set(all.filter((one) => one.key !== key));

  // What was refused is said, and the promise fails; the page then has what the server has, or
  // what it never got.
  async function ask(drawing, work) {
    const { key } = drawing;
    const turn = (asked.get(key) ?? 0) + 1;
    asked.set(key, turn);
    const last = () => asked.get(key) === turn;
    onTrouble("");
    underWay += 1;
    try {
      const told = await work(drawing);
      if (told && last()) put(told);
    } catch (error) {
      if (error instanceof Refused && last()) {
        put(saving.kept(key) ?? { ...drawing, trouble: error.message });
        onTrouble(error.message);
      }
      throw error;
    } finally {
      underWay -= 1;
    }
  }

  // At once on screen, then sent.
  function change(drawing, work) {
    put({ ...drawing, trouble: "" });
    return ask(drawing, work);
  }
  const save = (drawing) => change(drawing, saving.draw);

  async function rubOut(key) {
    const drawing = find(key);
    away(key);
    if (drawing) await ask(drawing, saving.rubOut);
  }

  function move(key, points) {
    const drawing = find(key);
    if (!drawing) return null; // rubbed out while a hand held it
    const label = labelOf(drawing.kind, points, drawing.width_px, drawing.height_px);
    return change({ ...drawing, points, label }, saving.move);
  }

  const stand = (key, until_frame) => change({ ...find(key), until_frame }, saving.stand);

  const quietly = (promise) => promise.catch((error) => {
    if (!(error instanceof Refused)) throw error;
  });

  return {
    all: () => all,
    find,
    history,
    unsaved: () => underWay > 0 || all.some((one) => one.trouble),
    preview(key, points) { if (find(key)) put({ ...find(key), points }); },
    draw(told) {
      const key = newId();
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
      if (there || !find(key)) return Promise.resolve();
      history.add({ undo: () => move(key, before), redo: () => move(key, points) });
      return quietly(move(key, points));
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
