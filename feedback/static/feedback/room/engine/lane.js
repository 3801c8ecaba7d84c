// What is decoded ahead goes through one lane, view by view: the page needs a core for painting.

export function makeLane() {
  let holder = null;
  const queue = new Set(); // of those who wait, in order: functions that try once more

  return {
    // May `who` begin now? If not, it is called when it may.
    enter(who) {
      if (holder === null || holder === who) holder = who;
      else queue.add(who);
      return holder === who;
    },
    leave(who) {
      queue.delete(who);
      if (holder !== who) return;
      holder = null;
      for (const next of queue) {
        if (holder !== null) break;
        queue.delete(next);
        next(); // it enters, or has nothing to do any more
      }
    },
  };
}
