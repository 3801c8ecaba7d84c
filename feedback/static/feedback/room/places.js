// What each view on stage can be told: to make room for another, to stay, to be the one that is
// stepped; and how many views stand side by side.

export function startPlaces(room, stage) {
  const layouts = [...room.element.querySelectorAll("[data-layout-of]")];
  const most = room.views.length;

  for (const view of room.views) {
    const find = (name) => view.figure.querySelector(name);
    const place = find("[data-place]");
    find("[data-name]").hidden = true;
    find("[data-choose]").hidden = false;
    find("[data-holds]").hidden = false;
    place.value = view.key;
    place.addEventListener("change", () => {
      const other = place.value;
      place.value = view.key;
      if (other === view.key) return;
      room.safely(() => stage.exchange(view.key, other));
      room.view(other).figure.querySelector("[data-place]").focus();
    });
    find("[data-keep]").addEventListener("click", ({ currentTarget }) =>
      room.safely(() => stage.keep(view.key, currentTarget.ariaPressed !== "true")));
    find("[data-steps]").addEventListener("click", () =>
      room.safely(() => stage.settle(room.now().at_s, { main: view.key })));
  }

  const lay = (layout) =>
    room.safely(() => stage.settle(room.now().at_s, { layout: Math.min(layout, most) }));
  for (const button of layouts) {
    button.hidden = Number(button.dataset.layoutOf) > most && button.dataset.layoutOf !== "2";
    button.addEventListener("click", () => lay(Number(button.dataset.layoutOf)));
  }
  if (most === 3) layouts.at(-1).hidden = false; // three of four places
  const { addKeys } = room;
  addKeys({
    v: () => {
      const { layout } = stage.setting();
      lay(layout === 1 ? 2 : layout === 2 && most > 2 ? 4 : 1);
    },
    k: () => {
      const main = stage.main();
      room.safely(() => stage.keep(main, !stage.setting().kept.includes(main)));
    },
  });
  room.element.addEventListener("room:stage", ({ detail: { layout } }) => {
    const near = layout > 2 ? 4 : layout;
    for (const button of layouts)
      button.ariaPressed = String(Number(button.dataset.layoutOf) === near);
  });
}
