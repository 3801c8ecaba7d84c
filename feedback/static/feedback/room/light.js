// Brightness and contrast of a station's pictures, on the screen only. The station of the main
// view is the one that is set.

const NEUTRAL = { brightness: 100, contrast: 100 };

export function startLight(room) {
  const panel = room.element.querySelector("[data-light]");
  const name = panel.querySelector("[data-light-name]");
  const sliders = {
    brightness: panel.querySelector("[data-brightness]"),
    contrast: panel.querySelector("[data-contrast]"),
  };
  const lights = new Map(); // station → { brightness, contrast } in percent
  const main = () => room.view(room.now().main);
  const of = (view) => lights.get(view.station) ?? NEUTRAL;

  function lay(view) {
    const { brightness, contrast } = of(view);
    const lit = brightness !== 100 || contrast !== 100;
    view.picture.classList.toggle("lit", lit);
    view.picture.style.setProperty("--brightness", `${brightness}%`);
    view.picture.style.setProperty("--contrast", `${contrast}%`);
  }
  function show() {
    const view = main();
    name.textContent = room.element.dataset.wordsLightOf.replace("{name}", view.name);
    for (const [kind, slider] of Object.entries(sliders)) slider.value = of(view)[kind];
  }
  function set(light) {
    const { station } = main();
    lights.set(station, light);
    room.views.filter((view) => view.station === station).forEach(lay);
    show();
  }

  for (const [kind, slider] of Object.entries(sliders))
    slider.addEventListener("input", () => set({ ...of(main()), [kind]: Number(slider.value) }));
  panel.querySelector('[data-do="light-reset"]').addEventListener("click", () => set(NEUTRAL));
  room.element.addEventListener("room:stage", show);
}
