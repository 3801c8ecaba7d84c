// ] and [ go to the next and the previous swim of the queue, also where there is no picture yet.
// They rest while somebody types, and with the room's other keys (keys.js) on this device.

const SWITCH = "sidelane-room-keys";
const TYPED_INTO = "input:not([type=checkbox], [type=radio], [type=range]), textarea, select, dialog";
const LINKS = { "]": "[data-next]", "[": "[data-previous]" };

document.addEventListener("keydown", (event) => {
  const { target, key } = event;
  // On many keyboards the brackets are typed with AltGr, which says it is Ctrl and Alt.
  const altGr = event.getModifierState("AltGraph");
  if ((!altGr && (event.altKey || event.ctrlKey)) || event.metaKey || event.isComposing) return;
  if (!(key in LINKS) || event.defaultPrevented || target.closest(TYPED_INTO)) return;
  if (localStorage.getItem(SWITCH) === "off") return;
  const link = document.querySelector(`[data-queue-keys] ${LINKS[key]}`);
  if (!link) return;
  event.preventDefault();
  link.click();
});
