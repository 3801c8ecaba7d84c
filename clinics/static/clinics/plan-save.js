// Keeps moves on the server: one at a time, of each station the newest. Key presses wait for each
// other a moment, so that a run of them is one move, and one undo.

import { post } from "./plan-parts.js";

const PAUSE_MS = 700;

export function startSaving({ urlOf, token, fresh, state, busy }) {
  const waiting = new Map(); // station → [stand, dragged]
  let [timer, answer, failed, underWay] = [null, null, false, 0];
  let line = Promise.resolve();

  // One request after the other, undoing as well.
  function next(work) {
    underWay += 1;
    line = line.then(work).finally(() => { underWay -= 1; });
    return line.then(settle);
  }

  // The newest answer is put in place once nothing moves and nothing waits.
  function settle() {
    if (answer === null || underWay || waiting.size || busy()) return;
    const text = answer;
    answer = null;
    fresh(text);
  }

  // True if the server said something about the plan.
  async function ask(url, fields) {
    state("saving");
    const { status, text } = await post(url, fields, token).catch(() => ({ status: 0 }));
    const isAnswer = status === 200 || status === 422;
    const isLost = status === 0 || status >= 500;
    if (isAnswer) answer = text;
    failed = !isAnswer;
    state(isAnswer ? "saved" : isLost ? "lost" : "out");
    return isAnswer;
  }

  async function sendOne(key) {
    const [stand, dragged] = waiting.get(key);
    waiting.delete(key);
    const fields = { x_m: stand.x, y_m: stand.y, z_m: stand.z, bearing_deg: stand.bearing ?? "" };
    if (dragged) fields.dragged = "on";
    const isKept = await ask(urlOf(key), fields);
    if (!isKept && !waiting.has(key)) waiting.set(key, [stand, dragged]);
    return isKept;
  }

  async function sendAll() {
    for (const key of waiting.keys()) if (!(await sendOne(key))) return;
  }

  function send() {
    clearTimeout(timer);
    return next(sendAll);
  }

  return {
    keep(stand, dragged) {
      waiting.set(stand.key, [stand, dragged]);
      clearTimeout(timer);
      if (dragged) send();
      else timer = setTimeout(send, PAUSE_MS);
    },
    send,
    settle,
    ask(url) {
      clearTimeout(timer);
      return next(async () => {
        await sendAll();
        if (!waiting.size) await ask(url, {});
      });
    },
    // As the page is left nobody waits for answers: all goes at once.
    leave() {
      clearTimeout(timer);
      for (const key of [...waiting.keys()]) sendOne(key);
    },
    unsaved: () => failed && waiting.size > 0,
  };
}
