// Single keys of the room, and their help sheet. They rest while somebody types, can be
// turned off for this device, and never keep the focus.

const SWITCH = "sidelane-room-keys";
const TYPED_INTO = "input, textarea, select, [contenteditable], dialog";

export function startKeys(help, actions) {
  const box = help.querySelector("[data-keys-on]");
  box.checked = localStorage.getItem(SWITCH) !== "off";
  box.addEventListener("change", () => localStorage.setItem(SWITCH, box.checked ? "on" : "off"));
  document.addEventListener("keydown", (event) => {
    const { target } = event;
    if (event.altKey || event.ctrlKey || event.metaKey || event.isComposing) return;
    if (!box.checked || help.open || target.closest(TYPED_INTO)) return;
    if (event.key === " " && target.closest("button, a, summary")) return; // it presses them
    const action = actions[event.key] ?? (/^[1-9]$/.test(event.key) ? actions.digit : undefined);
    if (!action) return;
    event.preventDefault();
    action(event);
  });
}
