// The decoded pictures of one view: whole groups, those that are wanted and no others.

const TRIES = 3;
const AT_ONCE = 2; // of the wanted groups: the one that is shown, and the next

const gone = () => new DOMException("no longer wanted", "AbortError");

// `chunks(first, end)` reads a group's packets; `makeDecoder(onPicture)` makes the decoder; `lane`
// is shared with the other views.
export async function makeGopCache({ gops, chunks, makeDecoder, lane, onTrouble }) {
  const held = new Map(); // group → { pictures: Map(frame → picture), whole }
  let wanted = [];
  let most = Infinity; // how many of the wanted ones are decoded now
  let running = null;
  let turn = 0;
  let tries = 0;
  let closed = false;
  let waiting = []; // { frame, done, fail }

  const decoder = await makeDecoder((frame, picture) => {
    const group = held.get(gops.of(frame));
    if (!group || group.pictures.has(frame)) picture.close();
    else group.pictures.set(frame, picture);
    settle();
  });

  const get = (frame) => held.get(gops.of(frame))?.pictures.get(frame) ?? null;

  function settle() {
    const still = [];
    for (const one of waiting) {
      if (get(one.frame)) one.done();
      else if (closed || !wanted.includes(gops.of(one.frame))) one.fail(gone());
      else still.push(one);
    }
    waiting = still;
  }

  function drop(gop) {
    for (const picture of held.get(gop)?.pictures.values() ?? []) picture.close();
    held.delete(gop);
  }

  async function decode(gop) {
    const mine = (turn += 1);
    running = gop;
    held.set(gop, held.get(gop) ?? { pictures: new Map(), whole: false });
    try {
      const read = await chunks(gops.first(gop), gops.end(gop));
      if (mine !== turn) return;
      await decoder.decode(read);
      const group = held.get(gop);
      if (group) group.whole = group.pictures.size === gops.end(gop) - gops.first(gop);
      if (group && !group.whole) throw new Error("the decoder left pictures out");
      tries = 0;
    } catch (error) {
      if (mine !== turn) return;
      tries += 1;
      if (tries >= TRIES) fail(error);
    }
    if (mine !== turn) return;
    running = null;
    lane.leave(pump);
    pump();
  }

  function fail(error) {
    wanted = [];
    const lost = waiting;
    waiting = [];
    for (const one of lost) one.fail(error);
    if (!closed) onTrouble(error);
  }

  function pump() {
    if (closed || running !== null) return;
    const at = wanted.slice(0, most).findIndex((gop) => !held.get(gop)?.whole);
    if (at >= 0 && (at < AT_ONCE || lane.enter(pump))) decode(wanted[at]);
  }

  return {
    get,
    has: (frame) => get(frame) !== null,
    whole: (gop) => held.get(gop)?.whole ?? false,
    // What is not on this list is closed; decoding something else is stopped. `hurry`: only the
    // first of them is decoded now, since other views need the processor for theirs.
    want(list, hurry) {
      wanted = list;
      most = hurry ? 1 : Infinity;
      for (const gop of [...held.keys()]) if (!list.includes(gop)) drop(gop);
      if (running !== null && !list.slice(0, most).includes(running)) {
        running = null;
        turn += 1;
        decoder.stop();
        lane.leave(pump);
      }
      settle();
      pump();
    },
    wait: (frame) => new Promise((done, fail_) => {
      waiting.push({ frame, done, fail: fail_ });
      settle();
    }),
    close() {
      closed = true;
      turn += 1;
      decoder.close();
      lane.leave(pump);
      for (const gop of [...held.keys()]) drop(gop);
      settle();
    },
  };
}
