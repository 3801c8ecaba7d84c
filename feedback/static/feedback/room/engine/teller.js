// What is told of the engine's state, and when: only what has changed.

export function makeTeller({ stage, driver, onShow, onState }) {
  let told = "";
  const flags = { playing: false, waiting: false, ended: false };
  const frames = () => Object.fromEntries(
    stage.shown().map((key) => [key, driver.shown.get(key) ?? null]));

  return {
    flags,
    frames,
    set(changes) {
      Object.assign(flags, changes);
      const now = JSON.stringify(flags);
      if (now === told) return;
      told = now;
      onState({ ...flags });
    },
    // After painting; `always` after a jump, even if the same frames were right before it.
    shown(at_s, always) {
      if (driver.changed() || always) onShow({ at_s, frames: frames() });
    },
  };
}
