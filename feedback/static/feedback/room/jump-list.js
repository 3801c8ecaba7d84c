// One list of all that one can jump to: phases, marks and words, in order of time. It is made
// when it is opened, from what stands on the page then.

export function startJumpList(room, seconds) {
  const panel = room.element.querySelector("[data-jumps]");
  const list = panel.querySelector("[data-jumps-list]");
  const none = panel.querySelector("[data-jumps-none]");
  const words = list.dataset;
  const strip = room.element.querySelector("[data-lane-strip]");
  let flags = []; // as they stand on the strip
  strip.addEventListener("lane-strip:flags", (event) => { flags = event.detail; });

  const comments = () => [...document.querySelectorAll("#said article[data-frame][data-at]")].map((article) => ({
    at_s: Number(article.dataset.at),
    kind: article.dataset.phase ? `${words.comment}, ${article.dataset.phase}` : words.comment,
    text: (article.querySelector(".words")?.textContent ?? "").trim().slice(0, 60),
    go: () => room.jump({ view: article.dataset.view, frame: Number(article.dataset.frame) }),
  }));
  const marks = () => flags.map(({ at_s, key, name }) => ({
    at_s,
    kind: words.mark,
    text: name,
    go: () => strip.dispatchEvent(new CustomEvent("lane-strip:flag", { detail: { key } })),
  }));
  const phases = () => (room.data.phases ?? []).map((phase) => ({
    at_s: phase.from_s, kind: words.phase, text: phase.name,
    go: () => room.jump({ at_s: phase.from_s }),
  }));

  function item({ at_s, kind, text, go }) {
    const row = document.createElement("li");
    const button = document.createElement("button");
    const [time, what, where] = ["b", "span", "span"].map((name) => document.createElement(name));
    time.textContent = words.time.replace("{at}", seconds(at_s));
    what.textContent = text;
    [where.textContent, where.className] = [kind, "soft small"];
    button.type = "button";
    button.append(time, what, where);
    button.addEventListener("click", () => {
      panel.open = false;
      panel.querySelector("summary").focus();
      room.safely(go);
    });
    row.append(button);
    return row;
  }

  panel.addEventListener("toggle", () => {
    if (!panel.open) return;
    const all = [...phases(), ...marks(), ...comments()].sort((one, other) => one.at_s - other.at_s);
    none.hidden = all.length > 0;
    list.replaceChildren(...all.map(item));
  });
  panel.addEventListener("keydown", (event) => {
    if (event.key !== "Escape" || !panel.open) return;
    event.stopPropagation();
    panel.open = false;
    panel.querySelector("summary").focus();
  });
  return {
    open() {
      panel.open = true;
      panel.querySelector("summary").focus();
    },
  };
}
