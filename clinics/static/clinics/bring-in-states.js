// Keeps "what is in" up to date while something is under way: asks the server for the same
// piece of page again. Lines of files that are being sent right now are left to the queue above.

const EVERY_MS = 1500;
const root = document.querySelector("[data-bring-in]");
let timer = 0;
let asked = 0;

function hideLive() {
  const live = new Set([...root.querySelectorAll("[data-live]")].map((line) => line.dataset.live));
  for (const line of root.querySelectorAll("[data-upload]")) {
    const sending = live.has(line.dataset.upload) && line.querySelector(".state.look");
    line.hidden = Boolean(sending);
  }
}

// What a person sees of it: form tokens differ each time.
function bare(place) {
  return place.innerHTML.replace(/csrfmiddlewaretoken" value="\w+"/g, "").replace(/ hidden=""/g, "");
}

async function refresh() {
  const mine = (asked += 1);
  const response = await fetch(root.dataset.statesUrl, { credentials: "same-origin" });
  if (!response.ok) return;
  const page = new DOMParser().parseFromString(await response.text(), "text/html");
  const told = page.querySelector("[data-busy]");
  if (!told || mine !== asked) return; // signed out; or something changed since: asked again
  const focused = document.activeElement?.closest("[data-station-state]");
  let isHeld = false; // who is in it is not disturbed; it follows later
  for (const fresh of page.querySelectorAll("[data-station-state]")) {
    const id = fresh.dataset.stationState;
    const shown = root.querySelector(`[data-station-state="${id}"]`);
    if (!shown || bare(shown) === bare(fresh)) continue;
    if (shown === focused) isHeld = true;
    else shown.replaceChildren(...fresh.childNodes);
  }
  root.dataset.busy = isHeld ? "yes" : told.dataset.busy;
  hideLive();
}

async function round() {
  try {
    if (!document.hidden) await refresh();
  } catch {
    root.dataset.busy = "yes"; // no connection: ask again
  }
  plan();
}

function plan() {
  window.clearTimeout(timer);
  if (root.dataset.busy === "yes") timer = window.setTimeout(round, EVERY_MS);
}

root.addEventListener("bring-in:changed", () => {
  asked += 1; // what is on its way does not know of it
  root.dataset.busy = "yes";
  plan();
});
plan();
