// On a narrow screen the rarer tools stand behind a button.

export function startMore(room) {
  const button = room.element.querySelector('[data-do="tools"]');
  const tools = room.element.querySelector("[data-tools]");
  tools.hidden = false;
  button.addEventListener("click", () => {
    const open = button.ariaExpanded !== "true";
    button.ariaExpanded = String(open);
    tools.classList.toggle("open", open);
  });
}
