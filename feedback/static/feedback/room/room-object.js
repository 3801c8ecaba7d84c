// What the parts of the room share: the views with their elements, and the events between them.
//
// Events on the element: room:frame { at_s, main, frame, frames, playing }, room:stage { shown,
// main, layout, follow, kept }, room:tool { name }, room:marks { marks, guides } as the server answers.

export function createRoom(element, addKeys) {
  const data = JSON.parse(document.getElementById("swim-data").textContent);
  const stage = element.querySelector("[data-stage]");
  const trouble = element.querySelector("[data-trouble]");
  const views = data.views.map((view) => {
    const figure = stage.querySelector(`[data-view="${CSS.escape(view.key)}"]`);
    const find = (name) => figure.querySelector(name);
    const video = find("video");
    video.controls = false;
    video.tabIndex = -1; // the buttons and keys do all that it does
    const { width, height } = view.renditions.at(-1) ?? { width: 16, height: 9 };
    find("[data-window]").style.aspectRatio = `${width} / ${height}`;
    return { ...view, figure, picture: find("[data-picture]"), overlay: find("[data-overlay]") };
  });
  const byKey = new Map(views.map((view) => [view.key, view]));

  const room = {
    element,
    data,
    views,
    addKeys,
    view: (key) => byKey.get(key),
    setTool(name) {
      if (name) element.dataset.tool = name;
      else delete element.dataset.tool;
      element.dispatchEvent(new CustomEvent("room:tool", { detail: { name: name ?? null } }));
    },
    trouble(error) {
      if (error?.name === "AbortError") return;
      trouble.hidden = false;
    },
    // Whatever loads may fail; the page says so and stays usable.
    async safely(work) {
      try {
        trouble.hidden = true;
        await work();
        room.tell?.();
      } catch (error) {
        room.trouble(error);
      }
    },
  };
  return room;
}
