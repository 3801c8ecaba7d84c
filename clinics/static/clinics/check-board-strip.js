// The cap on the lanes stands at the start of the swim that is being looked at; the mouse over a
// still steps through the stills of its clip.

export function startStrip(board) {
  const cap = document.querySelector("[data-strip-cap]");

  function stand(event) {
    const x = event.target.closest("tr[data-row]")?.dataset.stripX;
    if (!cap || x === undefined) return;
    cap.setAttribute("transform", `translate(${x} 0)`);
    cap.removeAttribute("display");
  }
  board.addEventListener("focusin", stand);
  board.addEventListener("pointerover", stand);

  function stepped(still) {
    let over = still.querySelector(".stepped");
    if (!over) {
      over = document.createElement("span");
      over.className = "stepped";
      over.style.backgroundImage = `url("${still.dataset.strip}")`;
      still.append(over);
    }
    return over;
  }
  board.addEventListener("pointermove", (event) => {
    const still = event.target.closest("a[data-strip]");
    if (!still || event.pointerType !== "mouse") return;
    const { left, width } = still.getBoundingClientRect();
    showStill(stepped(still), (event.clientX - left) / width, Number(still.dataset.count));
  });
  board.addEventListener("pointerout", (event) => {
    const still = event.target.closest("a[data-strip]");
    if (still && !still.contains(event.relatedTarget)) still.querySelector(".stepped")?.remove();
  });
}

// One still of a strip as the background of a place; `share` 0 to 1 of the clip.
export function showStill(place, share, count) {
  const n = Math.min(Math.max(Math.floor(share * count), 0), count - 1);
  place.style.backgroundSize = `${count * 100}% 100%`;
  place.style.backgroundPositionX = count > 1 ? `${(n / (count - 1)) * 100}%` : "0";
}
