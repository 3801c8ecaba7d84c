// Moves stations on a plan and turns their cameras, by pointer, finger and keys. What comes of it
// it tells: `show(stand)` while it moves, `keep(stand, dragged)` where it ends.

import { choose, metresAt, shownSvg } from "./plan-draw.js";
import { BIG_STEP_M, STEP_M, moved, snapped } from "./plan-place.js";
import { sightOf } from "./plan-sight.js";

const TAP_PX = 4;
const [TURN_DEG, BIG_TURN_DEG] = [1, 10];
const WAYS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

const turned = (degrees) => Math.round(degrees - 360 * Math.round(degrees / 360)) + 0;

export function startMoving(plan, pool, { stands, show, keep, open, undo }) {
  let drag = null;

  function nearest(svg, at) {
    const off = (stand) => Math.hypot(stand.x - at.x, stand.y - at.y);
    const near = [...stands().values()].filter((s) => off(s) <= Number(svg.dataset.touch));
    return near.sort((one, other) => off(one) - off(other))[0];
  }

  function begin(event) {
    const svg = shownSvg(plan);
    if (!svg?.contains(event.target) || event.button > 0 || !event.isPrimary) return;
    const at = metresAt(svg, event);
    const knob = event.target.closest("[data-handle]");
    const stand = knob ? stands().get(knob.dataset.handle) : nearest(svg, at);
    if (!stand) return;
    event.preventDefault();
    choose(plan, stand.key);
    const part = knob ?? svg.querySelector(`[data-station="${stand.key}"]`);
    part.focus({ preventScroll: true });
    drag = { svg, was: stand, from: at, id: event.pointerId, turns: Boolean(knob), far: false };
    svg.setPointerCapture(event.pointerId);
  }

  function dragged(event) {
    const at = metresAt(drag.svg, event);
    const [dx, dy] = [at.x - drag.from.x, at.y - drag.from.y];
    if (!drag.turns) return moved(drag.was, drag.was.x + dx, drag.was.y + dy, pool);
    const bearing = (Math.atan2(at.y - drag.was.y, at.x - drag.was.x) * 180) / Math.PI;
    return { ...drag.was, bearing: turned(bearing) };
  }

  function go(event) {
    if (event.pointerId !== drag?.id) return;
    const at = metresAt(drag.svg, event);
    const off = Math.hypot(at.x - drag.from.x, at.y - drag.from.y);
    drag.far ||= off > TAP_PX * at.perPx;
    if (drag.far) show(dragged(event));
  }

  function end(event) {
    if (event.pointerId !== drag?.id) return;
    const stand = drag.far ? snapped(dragged(event), pool) : null;
    drag = null;
    if (stand) keep(stand, true);
  }

  function giveUp() {
    const was = drag?.was;
    drag = null;
    if (was) show(was);
  }

  function byKey(event) {
    if (event.key === "Escape") return giveUp();
    if (event.key.toLowerCase() === "z" && (event.ctrlKey || event.metaKey)) {
      event.preventDefault();
      return undo();
    }
    const part = event.target.closest("[data-station], [data-handle]");
    const stand = part && stands().get(part.dataset.station ?? part.dataset.handle);
    if (!stand || event.ctrlKey || event.metaKey || event.altKey) return undefined;
    const next = part.dataset.station ? stepped(stand, event) : swung(stand, event);
    if (!next) return undefined;
    event.preventDefault();
    return next === stand ? open(stand) : keep(next, false);
  }

  function stepped(stand, event) {
    if (event.key === "Enter" || event.key === " ") return stand;
    const [right, down] = WAYS[event.key] ?? [0, 0];
    const step = event.shiftKey ? BIG_STEP_M : STEP_M;
    if (!right && !down) return null;
    return moved(stand, stand.x + right * step, stand.y + down * step, pool);
  }

  function swung(stand, event) {
    if (["Delete", "Backspace"].includes(event.key)) return { ...stand, bearing: null };
    const [right, down] = WAYS[event.key] ?? [0, 0];
    if (!right && !down) return null;
    const by = (right + down) * (event.shiftKey ? BIG_TURN_DEG : TURN_DEG);
    return { ...stand, bearing: turned(sightOf(stand, pool).bearing + by) };
  }

  plan.addEventListener("pointerdown", begin);
  plan.addEventListener("pointermove", go);
  plan.addEventListener("pointerup", end);
  plan.addEventListener("pointercancel", giveUp);
  plan.addEventListener("keydown", byKey);
  plan.addEventListener("focusin", (event) => {
    const part = event.target.closest("[data-station], [data-handle]");
    if (part) choose(plan, part.dataset.station ?? part.dataset.handle);
  });
  return { busy: () => drag !== null };
}
