// Buttons and keys that move through time: play, one frame, how fast, sound.

const RATES = [[1 / 16, "1/16"], [1 / 8, "1/8"], [1 / 4, "1/4"], [1 / 2, "1/2"], [1, "1"]];

export function startTransport(room, engine, { toggle, step }) {
  const find = (name) => room.element.querySelector(name);
  const button = (name) => find(`[data-do="${name}"]`);
  const [slider, shown, play, sound] = [
    find("[data-speed]"), find("[data-speed-shown]"), button("play"), button("sound"),
  ];

  function setSpeed(index) {
    slider.value = Math.min(RATES.length - 1, Math.max(0, index));
    const [rate, words] = RATES[slider.value];
    slider.ariaValueText = shown.value = words;
    engine.setRate(rate);
  }
  function setSound(on) {
    sound.ariaPressed = String(on);
    engine.setSound(on);
  }
  const toggleSound = () => {
    if (!sound.hidden) setSound(sound.ariaPressed !== "true");
  };

  slider.addEventListener("input", () => setSpeed(Number(slider.value)));
  play.addEventListener("click", toggle);
  sound.addEventListener("click", toggleSound);
  button("back").addEventListener("click", () => step(-1));
  button("on").addEventListener("click", () => step(1));
  room.addKeys({
    " ": toggle,
    ArrowLeft: (event) => step(event.shiftKey ? -10 : -1),
    ArrowRight: (event) => step(event.shiftKey ? 10 : 1),
    ArrowUp: () => setSpeed(Number(slider.value) + 1),
    ArrowDown: () => setSpeed(Number(slider.value) - 1),
    s: toggleSound,
  });
  // Heard is the main view, where it has a sound that this person may hear.
  room.element.addEventListener("room:stage", ({ detail: { main } }) => {
    sound.hidden = !room.views.some((view) => view.sound);
    sound.disabled = !room.view(main).sound;
  });
  return {
    showPlaying(playing) {
      play.textContent = playing ? play.dataset.pause : play.dataset.play;
    },
  };
}
