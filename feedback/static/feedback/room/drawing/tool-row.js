// The row of tools: which is in hand, in which colour, for how long, for whom.

export function createToolRow(room, part, { onTake }) {
  const find = (name) => part.querySelector(name);
  const buttons = [...part.querySelectorAll("[data-take]")];
  let inHand = null; // the button of the tool

  const hint = (words) => { find("[data-draw-said]").textContent = words; };

  function take(button) {
    inHand = button === inHand ? null : button;
    for (const one of buttons) one.ariaPressed = String(one === inHand);
    room.setTool(inHand ? inHand.dataset.take : null);
    hint(inHand ? inHand.dataset.hint : "");
    find("[data-put-away]").hidden = !inHand;
    if (inHand) {
      room.pause();
      room.view(room.now().main)?.figure.scrollIntoView({ block: "nearest" });
    }
    onTake(inHand);
  }

  for (const button of buttons) button.addEventListener("click", () => take(button));
  find("[data-put-away]").addEventListener("click", () => take(inHand));
  // Somebody else took another tool.
  room.element.addEventListener("room:tool", ({ detail: { name } }) => {
    if (inHand && name !== inHand.dataset.take) {
      inHand.ariaPressed = "false";
      inHand = null;
      onTake(null);
    }
  });

  return {
    hint,
    take: (name) => take(buttons.find((one) => one.dataset.take === name)),
    putAway: () => { if (inHand) take(inHand); },
    moving: () => inHand?.dataset.take === "move",
    name: (drawing) => buttons.find((one) => one.dataset.kind === drawing.kind)?.dataset.name ?? "",
    // What is drawn with; null: nothing is in hand, or the hand that moves points.
    tool: () => (inHand?.dataset.kind ? {
      kind: inHand.dataset.kind,
      straight: "straight" in inHand.dataset,
      colour: find("[name=drawing-colour]:checked").value,
    } : null),
    span_s: () => Number(find("[name=drawing-span]").value),
    forCoaches: () => Boolean(find("[name=drawing-for-coaches]")?.checked),
    keys: () => Object.fromEntries(buttons.map((one) => [one.dataset.key, () => take(one)])),
  };
}
