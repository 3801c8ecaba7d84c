// Keys of the board, and their help sheet. They rest while somebody types and while a window is
// open, can be turned off for this device, and never keep the focus: tab goes on as always.

const SWITCH = "sidelane-board-keys";
const TYPED_INTO = "input:not([type=checkbox]), textarea, select, [contenteditable]";
const ACTS = { c: "card", f: "face", n: "nobody", p: "pass" };

function within(cell) {
  return (
    cell.querySelector("a.check-still") ??
    cell.querySelector("[data-choose]") ??
    cell.querySelector("button:not([disabled])") ??
    cell
  );
}

function go(board, cell, rows, columns) {
  const row = cell.closest("tr");
  const all = [...board.querySelectorAll("tr[data-row]")];
  const next = all[all.indexOf(row) + rows] ?? row;
  const place = [...row.children].indexOf(cell) + columns;
  const target = next.children[Math.min(Math.max(place, 0), next.children.length - 1)];
  within(target).focus();
}

export function startKeys(board, help, look) {
  const box = help.querySelector("[data-keys-on]");
  box.checked = localStorage.getItem(SWITCH) !== "off";
  box.addEventListener("change", () => localStorage.setItem(SWITCH, box.checked ? "on" : "off"));
  const opener = board.querySelector("[data-help-open]");
  opener.hidden = false;
  opener.addEventListener("click", () => help.showModal());

  const arrows = { ArrowUp: [-1, 0], ArrowDown: [1, 0], ArrowLeft: [0, -1], ArrowRight: [0, 1] };

  document.addEventListener("keydown", (event) => {
    const { target, key } = event;
    if (event.altKey || event.ctrlKey || event.metaKey || event.isComposing) return;
    if (event.repeat && !arrows[key]) return; // held down: that is one press
    if (!box.checked || help.open || target.closest(TYPED_INTO)) return;
    if (look.open()) {
      if (look.key(event)) event.preventDefault();
      return;
    }
    const cell = target.closest("tr[data-row] > *");
    let done = true;
    if (key === "?") help.showModal();
    else if (key === "u") document.querySelector('[data-act="undo"]')?.click();
    else if (!cell) done = false;
    else if (arrows[key]) go(board, cell, ...arrows[key]);
    else if (ACTS[key]) {
      cell.closest("tr").querySelector(`[data-act="${ACTS[key]}"]:not([disabled])`)?.click();
    } else if (key === "x" || key === "X") {
      const detail = { box: cell.closest("tr").querySelector("[data-choose]"), range: key === "X" };
      board.dispatchEvent(new CustomEvent("board:choose", { detail }));
    } else done = false;
    if (done) event.preventDefault();
  });
}
