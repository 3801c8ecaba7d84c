// Drawings as the server has them: drawing, moving, how long, rubbing out, one after the other.
// Which address a step goes to is known when its turn comes: what it changes may only then stand.

export class Refused extends Error {}

const fieldsOf = (one) => ({
  key: one.key, clip: one.view, frame: one.frame, kind: one.kind, straight: one.straight,
  until_frame: one.until_frame > one.frame ? one.until_frame : null,
  points: one.points, colour: one.colour, comment: one.comment, for_coaches: one.for_coaches,
});

export function createSaving(part, first) {
  const token = part.querySelector("[name=csrfmiddlewaretoken]").value;
  const kept = new Map(first.map((drawing) => [drawing.key, drawing]));
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

  function next(work) {
    const done = before.then(work);
    before = done.catch(() => {});
    return done;
  }

  async function keep(url, fields) {
    const { drawing } = await post(url, fields);
    kept.set(drawing.key, drawing);
    return drawing;
  }
  const draw = (drawing) => keep(part.dataset.draw, fieldsOf(drawing));

  // A change of what is kept; what never got there is drawn as it is by now.
  const change = (drawing, name, fields) => next(() => {
    const there = kept.get(drawing.key);
    return there ? keep(there[name], fields) : draw(drawing);
  });

  return {
    kept: (key) => kept.get(key),
    draw: (drawing) => next(() => draw(drawing)),
    move: (drawing) => change(drawing, "move", { points: drawing.points }),
    stand: (drawing) =>
      change(drawing, "stand", { clip: drawing.view, until_frame: drawing.until_frame }),
    rubOut: ({ key }) => next(async () => {
      if (!kept.has(key)) return;
      await post(kept.get(key).rub_out, {});
      kept.delete(key);
    }),
  };
}
