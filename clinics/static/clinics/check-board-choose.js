// Several rows at once: tick, tick with shift for all in between, and what can be done with them.

export function startChoosing(board) {
  const bar = board.querySelector("[data-board-chosen]");
  const count = board.querySelector("[data-chosen-count]");
  const swap = board.querySelector("[data-swap]");
  const none = board.querySelector("[data-choose-none]");
  const boxes = () => [...board.querySelectorAll("[data-choose]")];
  let last = null;

  function show() {
    const chosen = boxes().filter((box) => box.checked);
    for (const box of boxes()) box.closest("tr").classList.toggle("chosen", box.checked);
    bar.hidden = chosen.length === 0;
    swap.disabled = chosen.length !== 2;
    const { one, many } = count.dataset;
    count.textContent = chosen.length === 1 ? one : many.replace("{n}", chosen.length);
  }

  function between(box) {
    const all = boxes();
    const [from, to] = [all.indexOf(last), all.indexOf(box)].sort((a, b) => a - b);
    if (from < 0) return;
    for (const other of all.slice(from, to + 1)) other.checked = box.checked;
  }

  board.addEventListener("click", (event) => {
    const box = event.target.closest("[data-choose]");
    if (!box) return;
    if (event.shiftKey && last) between(box);
    last = box;
    show();
  });
  board.addEventListener("change", (event) => {
    if (event.target.matches("[data-choose]")) show();
  });
  board.addEventListener("reset", () => setTimeout(show));
  board.addEventListener("board:choose", (event) => {
    const { box, range } = event.detail;
    box.checked = range && last ? true : !box.checked;
    if (range && last) between(box);
    last = box;
    show();
  });
  board.addEventListener("board:fresh", show);
  window.addEventListener("pageshow", show); // a browser may keep ticks over going back
  none.hidden = false;
  show();
}
