// What can be undone and done again. Pure: each step is { undo, redo }, functions that give a
// promise; a step that fails stays where it was. Steps wait for each other: who presses twice
// undoes two.

export function createHistory(onChange = () => {}) {
  let [done, undone] = [[], []];
  let before = Promise.resolve();

  function turn(work) {
    const taken = before.then(work).finally(() => onChange());
    before = taken.catch(() => {});
    return taken;
  }

  async function undo() {
    const step = done.at(-1);
    if (!step) return;
    await step.undo();
    done = done.filter((one) => one !== step); // another may have come meanwhile
    undone = [...undone, step];
  }

  async function redo() {
    const step = undone.at(-1);
    if (!step) return;
    await step.redo();
    undone = undone.filter((one) => one !== step);
    done = [...done, step];
  }

  return {
    add(step) {
      [done, undone] = [[...done, step], []];
      onChange();
    },
    undo: () => turn(undo),
    redo: () => turn(redo),
    canUndo: () => done.length > 0,
    canRedo: () => undone.length > 0,
  };
}
