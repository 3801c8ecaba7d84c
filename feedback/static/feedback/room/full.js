// The room over the whole screen; where the browser cannot do that, over the whole window.

export function startFull(room) {
  const button = room.element.querySelector('[data-do="full"]');
  const { element } = room;
  const set = (on) => {
    element.classList.toggle("full", on);
    document.documentElement.classList.toggle("room-is-full", on);
    button.ariaPressed = String(on);
  };
  async function toggle() {
    const on = button.ariaPressed !== "true";
    set(on);
    if (on && document.fullscreenEnabled) await element.requestFullscreen().catch(() => {});
    else if (!on && document.fullscreenElement) await document.exitFullscreen();
  }
  document.addEventListener("fullscreenchange", () => {
    if (!document.fullscreenElement) set(false);
  });
  button.addEventListener("click", toggle);
  room.addKeys({
    g: toggle,
    Escape: () => { if (button.ariaPressed === "true") toggle(); },
  });
}
