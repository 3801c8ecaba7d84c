// Pictures of the swim's measures: fetched when somebody comes near them, and anew after marks;
// what is open stays open. Without script there is a link to a page with the same.

const AFTER_MARKS_MS = 1500; // strokes are marked one after the other

export function startPictures(section, room) {
  const here = section.querySelector("[data-pictures-here]");
  let asked = 0;
  let waiting = 0;

  const openOnes = () => [...here.querySelectorAll("details")].map((one) => [nameOf(one), one.open]);
  const nameOf = (one) => one.dataset.picture ?? one.closest("section")?.querySelector("h4")?.textContent;

  async function fetchAnew() {
    const mine = (asked += 1);
    here.setAttribute("aria-busy", "true");
    try {
      const answer = await fetch(section.dataset.pictures, { credentials: "same-origin" });
      if (!answer.ok || answer.redirected || mine !== asked) return; // a newer one is on its way
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const made = page.querySelector("[data-pictures-made]");
      if (!made || mine !== asked) return;
      put(made);
    } finally {
      if (mine === asked) here.removeAttribute("aria-busy");
    }
  }

  function put(made) {
    const open = new Map(openOnes());
    const focused = here.contains(document.activeElement) && document.activeElement.closest("details");
    for (const one of made.querySelectorAll("details")) one.open = open.get(nameOf(one)) ?? one.open;
    const again = focused ? nameOf(focused) : undefined;
    here.replaceChildren(made);
    const details = [...here.querySelectorAll("details")].find((one) => nameOf(one) === again);
    if (again !== undefined) details?.querySelector("summary").focus();
  }

  // Without the network they stay as they were, and come once it is back.
  let failed = false;
  const quietly = () => fetchAnew().then(() => { failed = false; }, () => { failed = true; });
  window.addEventListener("online", () => { if (failed) quietly(); });
  const near = new IntersectionObserver(
    (seen) => {
      if (!seen.some((one) => one.isIntersecting)) return;
      near.disconnect();
      quietly();
    },
    { rootMargin: "300px" },
  );
  near.observe(section);

  function soon() {
    if (!asked) return; // nobody has looked yet
    clearTimeout(waiting);
    waiting = setTimeout(quietly, AFTER_MARKS_MS);
  }
  for (const changed of ["room:marks", "room:planes"]) room?.addEventListener(changed, soon);
}

const section = document.querySelector("[data-pictures]");
if (section) startPictures(section, document.querySelector("[data-room]"));
