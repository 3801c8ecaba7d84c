// Sending, one after the other: the last answer is what the server has.

export function createPost(part) {
  let before = Promise.resolve();

  async function send(url, fields) {
    const token = part.querySelector("[name=csrfmiddlewaretoken]").value;
    const body = new FormData();
    for (const [name, value] of Object.entries(fields)) body.set(name, value);
    try {
      const answer = await fetch(url, {
        method: "POST", body, credentials: "same-origin",
        headers: { Accept: "application/json", "X-CSRFToken": token },
      });
      const told = await answer.json();
      if (answer.ok) return { told };
      return { refused: (told.errors ?? [part.dataset.notSent]).join(" ") };
    } catch {
      return { lost: part.dataset.notSent };
    }
  }

  // `send` does not fail: what is refused or lost is told.
  return (url, fields) => (before = before.then(() => send(url, fields)));
}
