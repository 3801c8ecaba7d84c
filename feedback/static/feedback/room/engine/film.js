// One film file, fetched once and whole: every byte range is asked for at the fence, too, and a
// short swim's films are small. What has arrived can be read before the rest is there.

const TRIES = 3;

// `read(begin, end)`: those bytes, as soon as they are there. `whole()`: all of them.
export function fetchFilm(url, size_bytes, onProgress = () => {}) {
  const stopper = new AbortController();
  let bytes = null;
  let loaded = 0;
  let failed = null;
  let waiting = [];

  const settle = () => {
    const still = [];
    for (const one of waiting) {
      if (failed) one.fail(failed);
      else if (one.end <= loaded) one.done(bytes.subarray(one.begin, one.end));
      else still.push(one);
    }
    waiting = still;
  };

  async function take(answer) {
    if (!bytes) {
      const length = Number(answer.headers.get("Content-Length")) || size_bytes;
      bytes = new Uint8Array(length);
      told.done(length);
    }
    const reader = answer.body.getReader();
    for (;;) {
      const { done, value } = await reader.read();
      if (done) return;
      if (loaded + value.length > bytes.length) throw new Error("film: longer than it said");
      bytes.set(value, loaded);
      loaded += value.length;
      onProgress(loaded, bytes.length);
      settle();
    }
  }

  // A connection that breaks off is taken up where it ended.
  async function run() {
    for (let tries = 1; ; tries += 1) {
      const headers = loaded ? { Range: `bytes=${loaded}-` } : {};
      const options = { credentials: "same-origin", signal: stopper.signal, headers };
      const answer = await fetch(url, options).catch((error) => {
        if (stopper.signal.aborted || tries >= TRIES) throw error;
        return null;
      });
      if (answer && answer.status !== (loaded ? 206 : 200)) throw new Error(`film: ${answer.status}`);
      await answer && (await take(answer).catch((error) => {
        if (stopper.signal.aborted || tries >= TRIES) throw error;
      }));
      if (bytes && loaded === bytes.length) return;
      if (tries >= TRIES) throw new Error("film: broken off");
    }
  }

  const told = {};
  const size = new Promise((done, fail) => Object.assign(told, { done, fail }));
  size.catch(() => {});
  run().catch((error) => {
    failed = error;
    told.fail(error);
    settle();
  });

  const read = (begin, end) => new Promise((done, fail) => {
    waiting.push({ begin, end, done, fail });
    settle();
  });

  return {
    size: () => size,
    read,
    whole: async () => read(0, await size),
    share: () => (bytes ? loaded / bytes.length : 0),
    close() {
      stopper.abort();
      failed ??= new DOMException("closed", "AbortError");
      settle();
      bytes = null;
    },
  };
}
