// On the picture: a tap plays or pauses, a swipe goes to the next or the previous view.

const SWIPE_PX = 48;
const TAP_PX = 10;

export function startTouch(stage, { tap, swipe }) {
  let from = null;
  stage.addEventListener("pointerdown", (event) => {
    from = event.isPrimary && event.button === 0 ? [event.clientX, event.clientY] : null;
  });
  stage.addEventListener("pointercancel", () => { from = null; });
  stage.addEventListener("pointerup", (event) => {
    if (!from) return;
    const [dx, dy] = [event.clientX - from[0], event.clientY - from[1]];
    from = null;
    if (Math.abs(dx) < TAP_PX && Math.abs(dy) < TAP_PX) tap();
    else if (Math.abs(dx) > SWIPE_PX && Math.abs(dx) > 2 * Math.abs(dy)) swipe(dx < 0 ? 1 : -1);
  });
}
