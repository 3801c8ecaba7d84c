// Drawings as the server has them: drawing, moving, how long, rubbing out, one after the other.

export class Refused extends Error {}

export function createSaving(part) {
  const token = part.querySelector("[name=csrfmiddlewaretoken]").value;
  let before = Promise.resolve();

  async function post(url, fields) {
    const body = new FormData();
    for (const [name, value] of Object.entries(fields)) {
      if (value === null || value === undefined || value === false) continue;
      body.set(name, typeof value === "object" ? JSON.stringify(value) : value === true ? "on" : value);
    }
    let answer;
    let told = {};
    try {
      answer = await fetch(url, {
        method: "POST", body, credentials: "same-origin",
        headers: { Accept: "application/json", "X-CSRFToken": token },
      });
      told = await answer.json();
    } catch {
      if (!answer || answer.ok) throw new Refused(part.dataset.notSaved);
    }
    if (answer.ok) return told;
    const words = Object.values(told.errors ?? {}).flat().join(" ");
    throw new Refused(words || part.dataset.notSaved);
  }

  // One after the other: what is undone was drawn first.
  function next(work) {
    const done = before.then(work);
    before = done.catch(() => {});
    return done;
  }

  return {
    draw: (fields) => next(() => post(part.dataset.draw, fields)).then((told) => told.drawing),
    move: ({ move }, points) => next(() => post(move, { points })).then((told) => told.drawing),
    stand: ({ stand, view }, until_frame) =>
      next(() => post(stand, { clip: view, until_frame })).then((told) => told.drawing),
    rubOut: ({ rub_out: url }) => next(() => post(url, {})),
  };
}
