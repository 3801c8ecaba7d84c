// Keeps "how far the clips are" up to date while something is under way: asks the server for the
// same piece of page again. Tells the page by a "progress:changed" event when more clips are made.

const EVERY_MS = 3000;
const LATEST_MS = 30000;

// What a person sees of it: form tokens differ each time.
function bare(place) {
  return place.innerHTML.replace(/csrfmiddlewaretoken" value="\w+"/g, "");
}

async function refresh(place) {
  const response = await fetch(place.dataset.progress, { credentials: "same-origin" });
  if (response.status === 404) {
    place.dataset.busy = "no"; // no longer ours to see
    return;
  }
  if (!response.ok) throw new Error(`${response.status}`);
  const page = new DOMParser().parseFromString(await response.text(), "text/html");
  const fresh = page.querySelector("[data-progress]");
  const made = (piece) => piece.querySelector("progress")?.value ?? 0;
  const before = made(place);
  const { busy } = fresh.dataset;
  const isOther = bare(place) !== bare(fresh);
  const isHeld = isOther && place.contains(document.activeElement); // it follows later
  if (isOther && !isHeld) place.replaceChildren(...fresh.childNodes);
  place.dataset.busy = isHeld ? "yes" : busy;
  if (made(place) !== before) {
    place.dispatchEvent(new CustomEvent("progress:changed", { bubbles: true }));
  }
}

function follow(place) {
  let wait = EVERY_MS;
  let timer = 0;

  async function round() {
    try {
      if (!document.hidden) await refresh(place);
      wait = EVERY_MS;
    } catch {
      wait = Math.min(wait * 2, LATEST_MS); // no connection: ask again, less often
    }
    plan();
  }

  function plan() {
    window.clearTimeout(timer);
    if (place.dataset.busy === "yes") timer = window.setTimeout(round, wait);
  }

  plan();
}

for (const place of document.querySelectorAll("[data-progress]")) follow(place);
