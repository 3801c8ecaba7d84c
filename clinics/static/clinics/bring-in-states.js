// Keeps "what is in" up to date while something is under way: asks the server for the same
// piece of page again. Lines of files that are being sent right now are left to the queue above.

const EVERY_MS = 1500;
const root = document.querySelector("[data-bring-in]");
let timer = 0;

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
  const response = await fetch(root.dataset.statesUrl, { credentials: "same-origin" });
  if (!response.ok) return;
  const page = new DOMParser().parseFromString(await response.text(), "text/html");
  const focused = document.activeElement?.closest("[data-station-state]");
  for (const fresh of page.querySelectorAll("[data-station-state]")) {
    const id = fresh.dataset.stationState;
    const shown = root.querySelector(`[data-station-state="${id}"]`);
    if (shown && shown !== focused && bare(shown) !== bare(fresh)) {
      shown.replaceChildren(...fresh.childNodes);
    }
  }
  root.dataset.busy = page.querySelector("[data-busy]")?.dataset.busy ?? "no";
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
  root.dataset.busy = "yes";
  plan();
});
plan();
