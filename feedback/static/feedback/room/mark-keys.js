// While "Mark" is in hand (key m), figures mark; otherwise they choose views, as elsewhere.
// Returns inHand(): tells; inHand(on): takes them or puts them away.

const TYPED_INTO = "input, textarea, select, [contenteditable]";

export function startMarkKeys(room, part, place) {
  const button = part.querySelector("[data-mark-keys]");
  const box = part.querySelector("[data-mark-box]");
  const inHand = () => button.ariaPressed === "true";
  const take = (on) => {
    button.ariaPressed = String(on);
    if (on) box.open = true;
    part.classList.toggle("by-keys", on);
  };
  button.hidden = false;
  box.open = matchMedia("(min-width: 641px)").matches;
  button.addEventListener("click", () => take(!inHand()));
  room.addKeys({ m: () => take(!inHand()) });
  document.addEventListener("keydown", (event) => {
    if (!inHand() || event.altKey || event.ctrlKey || event.metaKey) return;
    if (event.target.closest(TYPED_INTO) || document.querySelector("dialog[open]")) return;
    const kind = /^[1-9]$/.test(event.key) && part.querySelector(`[data-mark-key="${event.key}"]`)?.value;
    if (!kind && event.key !== "Escape") return;
    event.preventDefault();
    event.stopImmediatePropagation();
    if (kind) place(kind);
    else take(false);
  }, { capture: true });
  return (on) => { if (on !== undefined) take(on); return inHand(); };
}
