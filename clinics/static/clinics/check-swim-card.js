// The start camera before the start: a second earlier or later without loading the page anew, and
// larger, so that the number on the card can be read.

const LONGEST_S = 60;
const AFTER_S = -10;

function start(figure) {
  const part = (name) => figure.querySelector(`[data-card-${name}]`);
  const img = part("img");
  const number = new Intl.NumberFormat(document.documentElement.lang, { maximumFractionDigits: 1 });
  let before = Number(figure.dataset.before);
  let shown = before;

  function show(seconds) {
    before = Math.min(LONGEST_S, Math.max(AFTER_S, seconds));
    const url = `${figure.dataset.cardUrl}?before=${before}`;
    const words = part("words").dataset;
    img.src = url;
    part("zoom").href = url;
    part("words").textContent = (before < 0 ? words.afterWords : words.beforeWords).replace(
      "{s}",
      number.format(Math.abs(before)),
    );
  }

  function larger() {
    const on = part("zoom").classList.toggle("larger");
    part("larger").setAttribute("aria-pressed", String(on));
    const zoom = part("zoom");
    zoom.scrollLeft = (zoom.scrollWidth - zoom.clientWidth) / 2;
    zoom.scrollTop = (zoom.scrollHeight - zoom.clientHeight) / 2;
  }

  for (const link of figure.querySelectorAll("[data-card-step]")) {
    link.href ||= `?before=${before}`;
    link.addEventListener("click", (event) => {
      event.preventDefault();
      figure.querySelectorAll("[data-card-step]").forEach((both) => (both.hidden = false));
      show(before + Number(link.dataset.cardStep));
    });
  }
  img.addEventListener("load", () => (shown = before));
  img.addEventListener("error", () => {
    if (before !== shown) show(shown); // there is no picture there: back to the last one
  });
  part("zoom").addEventListener("click", (event) => {
    event.preventDefault();
    larger();
  });
  part("larger").hidden = false;
  part("larger").addEventListener("click", larger);
}

for (const figure of document.querySelectorAll("[data-card]")) start(figure);
