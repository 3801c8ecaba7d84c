// Waiting for a picture: told of when it takes long, and given up when something newer is wanted.

export function waitFor(work, late_ms, onLate) {
  let giveUp;
  const given = new Promise((_, fail) => {
    giveUp = () => fail(new DOMException("a newer jump", "AbortError"));
  });
  const late = setTimeout(onLate, late_ms);
  const done = Promise.race([work, given]).finally(() => clearTimeout(late));
  return { done, giveUp };
}
