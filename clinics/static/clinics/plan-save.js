// Keeps moves on the server: one at a time, of each station the newest. Key presses wait for each
// other a moment, so that a run of them is one move, and one undo.

import { post } from "./plan-parts.js";

const PAUSE_MS = 700;

export function startSaving({ urlOf, token, fresh, state, busy }) {
  const waiting = new Map(); // station → [stand, dragged]
  let [timer, running, answer] = [null, null, null];

  // The newest answer is put in place once nothing moves and nothing waits.
  function settle() {
    if (answer === null || running || waiting.size || busy()) return;
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
    state(isAnswer ? "saved" : isLost ? "lost" : "out");
    return isAnswer;
  }

  async function sendAll() {
    for (const [key, [stand, dragged]] of waiting) {
      waiting.delete(key);
      const fields = { x_m: stand.x, y_m: stand.y, z_m: stand.z, bearing_deg: stand.bearing ?? "" };
      if (dragged) fields.dragged = "on";
      if (!(await ask(urlOf(key), fields))) {
        if (!waiting.has(key)) waiting.set(key, [stand, dragged]);
        return;
      }
    }
  }

  async function send() {
    clearTimeout(timer);
    running ??= sendAll().finally(() => (running = null));
    await running;
    settle();
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
    async ask(url) {
      await send();
      if (waiting.size) return;
      await ask(url, {});
      settle();
    },
  };
}
