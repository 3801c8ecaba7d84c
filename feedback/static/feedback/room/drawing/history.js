// What can be undone and done again. Pure: each step is { undo, redo }, functions that give a
// promise; a step that fails stays where it was.

export function createHistory(onChange = () => {}) {
  let [done, undone] = [[], []];
  let busy = false;

  async function take(from, name, put) {
    if (busy || !from.length) return null;
    busy = true;
    const step = from.at(-1);
    try {
      await step[name]();
      put(step);
    } finally {
      busy = false;
      onChange();
    }
    return step;
  }

  return {
    add(step) {
      [done, undone] = [[...done, step], []];
      onChange();
    },
    undo: () => take(done, "undo", (step) => { [done, undone] = [done.slice(0, -1), [...undone, step]]; }),
    redo: () => take(undone, "redo", (step) => { [done, undone] = [[...done, step], undone.slice(0, -1)]; }),
    canUndo: () => done.length > 0,
    canRedo: () => undone.length > 0,
  };
}
