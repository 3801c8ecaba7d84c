// A list whose rows are made anew: who is at a control of one of them stays there. If that row is
// gone, who came there by keys goes on from the list's summary; to a hand, space shall still play.
// A row is known by its data-key.

const CONTROLS = "a[href], button, select, input, summary";

const controls = (row) => [...row.querySelectorAll(CONTROLS)];

export function keepFocus(list, draw) {
  const focused = list.contains(document.activeElement) ? document.activeElement : null;
  const row = focused?.closest("[data-key]");
  const byKeys = Boolean(focused?.matches(":focus-visible"));
  const nth = row ? controls(row).indexOf(focused) : -1;
  draw();
  if (!row || focused.isConnected) return;
  const fresh = list.querySelector(`[data-key="${CSS.escape(row.dataset.key)}"]`);
  const again = fresh && controls(fresh)[nth];
  (again ?? (byKeys && list.querySelector("summary")))?.focus?.({ preventScroll: true });
}
