// A row's stills and number card as buttons, small, to be shown large; the focus stays where it was.

export function drawViews(list, views, shown, wording, show) {
  const focused = [...list.children].indexOf(document.activeElement);
  const buttons = views.map((view) => {
    const button = document.createElement("button");
    button.type = "button";
    if (view.dataset.poster) {
      const img = document.createElement("img");
      img.src = view.dataset.poster;
      img.alt = "";
      button.append(img);
    }
    const card = view.dataset.lookAtCard && view.firstChild.textContent;
    button.append(card || wording(view.dataset));
    if (view === shown) button.setAttribute("aria-current", "true");
    button.addEventListener("click", () => show(view));
    return button;
  });
  list.replaceChildren(...buttons);
  if (focused >= 0) buttons[focused]?.focus({ preventScroll: true });
}
