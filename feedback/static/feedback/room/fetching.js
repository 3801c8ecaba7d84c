// Films on a slow phone or on mobile data: one small film first, then only what is asked for,
// its size said before. The choice is kept on this device.

import { savesData, sizeWords, largestBytes, smallestBytes } from "./saving.js";

const CHOICE = "sidelane-room-save-data";

// Which views may be fetched. Made before the engine; `first` is the view that the page opens with.
export function makeGate(views, first) {
  const narrow = matchMedia("(max-width: 640px)").matches;
  const asked = localStorage.getItem(CHOICE);
  const allowed = new Set([first]);
  let saving = savesData({ asked, connection: navigator.connection, narrow });
  return {
    saving: () => saving,
    allows: (key) => !saving || allowed.has(key),
    allow(keys) { keys.forEach((key) => allowed.add(key)); },
    missing: () => (saving ? views.filter((view) => !allowed.has(view.key)) : []),
    setSaving(to) {
      saving = to;
      localStorage.setItem(CHOICE, to ? "on" : "off");
    },
  };
}

export function startFetching(room, stage, gate, { choose }) {
  const { dataset } = room.element;
  const lang = document.documentElement.lang;
  const find = (name) => room.element.querySelector(name);
  const [box, next, all] = ["[data-offers]", "[data-fetch-next]", "[data-fetch-all]"].map(find);
  const switched = find("[data-saving]");
  const sharper = find('[data-do="sharper"]');
  const sum = (views, bytes) => sizeWords(views.reduce((so, view) => so + bytes(view), 0), lang);
  const button = (view) => view.figure.querySelector("[data-fetch]");

  const fetchThese = async (views, then) => {
    gate.allow(views.map((view) => view.key));
    show();
    await stage.bring();
    await then?.();
  };

  function nextMissing() {
    const missing = gate.missing();
    const at = room.views.indexOf(room.view(stage.main()));
    return missing.find((view) => room.views.indexOf(view) > at) ?? missing[0];
  }

  function show() {
    const missing = gate.missing();
    for (const view of room.views) {
      button(view).hidden = gate.allows(view.key);
      button(view).textContent = dataset.wordsFetchThis.replace("{size}", sum([view], smallestBytes));
    }
    box.hidden = !missing.length;
    next.hidden = !missing.length || !gate.allows(stage.main()); // then it is offered on the picture
    all.hidden = missing.length < 2;
    if (missing.length) {
      next.textContent = dataset.wordsFetchNext.replace("{size}", sum([nextMissing()], smallestBytes));
      all.textContent = dataset.wordsFetchAll
        .replace("{count}", room.views.length).replace("{size}", sum(missing, smallestBytes));
    }
    const shown = stage.shown().map(room.view);
    const couldBe = shown.some((view) => largestBytes(view) > smallestBytes(view));
    sharper.hidden = !gate.saving() || stage.sharper() || !couldBe;
    sharper.textContent = dataset.wordsSharper.replace("{size}", sum(shown, largestBytes));
  }

  switched.checked = gate.saving();
  switched.addEventListener("change", () => {
    gate.setSaving(switched.checked);
    show();
    room.safely(stage.bring);
  });
  for (const view of room.views)
    button(view).addEventListener("click", () => room.safely(() => fetchThese([view])));
  next.addEventListener("click", () => {
    const view = nextMissing();
    room.safely(() => fetchThese([view], () => choose(view.key)));
  });
  all.addEventListener("click", () => room.safely(() => fetchThese(gate.missing())));
  sharper.addEventListener("click", () => room.safely(async () => {
    await stage.setSharper(true);
    show();
  }));
  room.element.addEventListener("room:stage", show);
}
