// The screen stays on while the log is open, where the browser lets it.

export function stayAwake() {
  let lock = null;
  const ask = async () => {
    if (document.hidden || (lock && !lock.released)) return;
    try {
      lock = await navigator.wakeLock?.request("screen");
    } catch {
      lock = null; // low battery, or no secure address: the screen may go dark by itself
    }
  };
  document.addEventListener("visibilitychange", ask);
  document.addEventListener("pointerdown", ask);
  ask();
}
