// One worker that converts pictures ahead for all views. Where it cannot run, the page draws
// them as they are.

export function makeConverter() {
  const asked = new Map(); // id → done
  let worker = null;
  let last = 0;

  const giveUp = () => {
    worker = null;
    asked.forEach((done) => done(null));
    asked.clear();
  };
  try {
    worker = new Worker(new URL("./convert-worker.js", import.meta.url));
    worker.onerror = giveUp;
    worker.onmessage = ({ data: { id, bitmap } }) => {
      asked.get(id)?.(bitmap);
      asked.delete(id);
    };
  } catch {
    giveUp();
  }

  return {
    // A bitmap of a VideoFrame, which stays the caller's; null: none could be had.
    bitmap: (picture) => new Promise((done) => {
      if (!worker) return void done(null);
      const copy = picture.clone();
      last += 1;
      asked.set(last, done);
      worker.postMessage({ id: last, picture: copy }, [copy]);
    }),
    close() {
      worker?.terminate();
      giveUp();
    },
  };
}
