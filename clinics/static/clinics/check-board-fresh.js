// Takes in what the server says anew of some rows: cell by cell, only where it differs, so that
// pictures do not blink, open menus stay open, and the focus stays where it was.

const ATTRIBUTES = ["data-place", "data-making", "data-strip-x", "data-name", "data-number"];
const FOCUSABLE = "a, button:not([disabled]), input, summary";

function plain(cell) {
  const copy = cell.cloneNode(true);
  for (const open of copy.querySelectorAll("details[open]")) open.removeAttribute("open");
  for (const over of copy.querySelectorAll(".stepped")) over.remove();
  return copy.innerHTML;
}

const words = (element) => element.textContent.replace(/\s+/g, " ").trim();
// Two acts may be told in the same words; what undoes them is not the same.
const facts = (part) => [words(part), ...[...part.querySelectorAll("button")].map((one) => one.value)];

function replace(cell, fresh) {
  const focused = cell.contains(document.activeElement) ? document.activeElement : null;
  const act = focused?.closest("[data-act]")?.dataset.act;
  const ticked = [...cell.querySelectorAll("input[data-choose]:checked")].map((i) => i.value);
  cell.replaceChildren(...fresh.childNodes);
  for (const input of cell.querySelectorAll("input[data-choose]")) {
    input.checked = ticked.includes(input.value);
  }
  if (!focused) return;
  const same = act && cell.querySelector(`[data-act="${act}"]:not([disabled])`);
  (same || cell.querySelector(FOCUSABLE) || cell).focus({ preventScroll: true });
}

function takeRow(row, fresh) {
  let changed = false;
  for (const name of ATTRIBUTES) {
    const value = fresh.getAttribute(name);
    if (value === row.getAttribute(name)) continue;
    changed = true;
    if (value === null) row.removeAttribute(name);
    else row.setAttribute(name, value);
  }
  [...row.children].forEach((cell, n) => {
    const from = fresh.children[n];
    if (!from || plain(cell) === plain(from)) return;
    changed = true;
    replace(cell, from);
  });
  const elsewhere = row.closest("tbody").dataset.place !== row.dataset.place;
  row.classList.toggle("moved", elsewhere);
  return changed;
}

function takePart(id, fresh) {
  const here = document.getElementById(id);
  const from = fresh.getElementById(id);
  if (!here || !from || String(facts(here)) === String(facts(from))) return;
  const hadFocus = here.contains(document.activeElement);
  here.replaceChildren(...from.childNodes);
  if (hadFocus) here.querySelector(FOCUSABLE)?.focus({ preventScroll: true });
}

function tell(board, fresh) {
  const said = [...fresh.querySelectorAll("#board-messages li")];
  if (!said.length) return;
  const place = board.querySelector("[data-board-told]");
  place.textContent = said.map(words).join(" ");
  place.classList.toggle("warning", said.some((li) => /warning|error/.test(li.className)));
}

// `asked`: which rows the answer is about, "all" or their ids. True if a row changed.
export function takeIn(board, fresh, asked) {
  takePart("board-head", fresh);
  takePart("board-undo", fresh);
  tell(board, fresh);
  let changed = false;
  let unknown = false;
  const there = new Set();
  for (const tr of fresh.querySelectorAll("tr[data-row]")) {
    there.add(tr.dataset.row);
    const row = document.getElementById(tr.id);
    if (row) changed = takeRow(row, tr) || changed;
    else unknown = true;
  }
  const all = [...board.querySelectorAll("tr[data-row]")];
  const about = asked === "all" ? all : all.filter((row) => asked.includes(row.dataset.row));
  for (const row of about) {
    if (!there.has(row.dataset.row)) row.remove(); // hidden, held, or no swim after all
  }
  const anew = board.querySelector("[data-board-anew]");
  anew.hidden = !unknown && !board.querySelector("tr.moved");
  board.dispatchEvent(new CustomEvent("board:fresh"));
  return changed;
}
