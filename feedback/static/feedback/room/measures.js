// The list of measures: its times jump to their frames, and after each mark it is fetched anew;
// what is open stays open.

export function startMeasures(room) {
  const part = document.querySelector("[data-measures]");
  if (!part) return;
  let asked = 0;

  part.addEventListener("click", (event) => {
    const link = event.target.closest("a.jump-to");
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    room.jump({ view: link.dataset.view, frame: Number(link.dataset.frame) });
  });

  async function renew() {
    const mine = (asked += 1);
    const answer = await fetch(part.dataset.measures, { credentials: "same-origin" });
    if (!answer.ok || answer.redirected || mine !== asked) return; // a newer one is on its way
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = page.querySelector("[data-measures]");
    if (!fresh || mine !== asked) return;
    const open = (one) => `details[data-measure="${CSS.escape(one.dataset.measure)}"]`;
    for (const one of part.querySelectorAll("details[open]"))
      fresh.querySelector(open(one))?.setAttribute("open", "");
    const focused = document.activeElement?.closest("[data-measures] details");
    part.hidden = fresh.hidden;
    part.replaceChildren(...fresh.childNodes);
    if (focused) part.querySelector(`${open(focused)} > summary`)?.focus();
  }
  // Without the network the list stays as it was; the mark itself has said so.
  for (const changed of ["room:marks", "room:planes"])
    room.element.addEventListener(changed, () => renew().catch(() => {}));
}
