// Single keys of the room, and their help sheet. They rest while somebody types, can be
// turned off for this device, and never keep the focus.

const SWITCH = "sidelane-room-keys";
const TYPED_INTO = "input:not([type=range], [type=checkbox], [type=radio]), textarea, select, "
  + "[contenteditable], dialog";
const OWN_KEYS = "input[type=range], [role=slider]"; // arrows move these

// Returns add({ key: action }); "digit" stands for 1 to 9.
export function startKeys(help, first = {}) {
  const actions = new Map(Object.entries(first));
  const box = help.querySelector("[data-keys-on]");
  box.checked = localStorage.getItem(SWITCH) !== "off";
  box.addEventListener("change", () => localStorage.setItem(SWITCH, box.checked ? "on" : "off"));
  document.addEventListener("keydown", (event) => {
    const { target, key } = event;
    if (event.altKey || event.ctrlKey || event.metaKey || event.isComposing) return;
    if (!box.checked || help.open || event.defaultPrevented || target.closest(TYPED_INTO)) return;
    if (key === " " && target.closest("button, a, summary, input")) return; // it presses them
    if (key.startsWith("Arrow") && target.closest(OWN_KEYS)) return;
    const action = actions.get(key) ?? (/^[1-9]$/.test(key) ? actions.get("digit") : undefined);
    if (!action) return;
    if (key !== "Escape") event.preventDefault();
    action(event);
  });
  return (more) => { for (const [key, action] of Object.entries(more)) actions.set(key, action); };
}
