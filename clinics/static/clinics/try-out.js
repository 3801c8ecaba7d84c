// The try-out's page: a tap tells its own instant on the server's clock, and what is being judged
// is asked for again until it is judged. Without this script a tap counts as it arrives.

import { ServerClock } from "./slate-clock.js";

const EVERY_MS = 2000;

function startTaps(place) {
  const clock = new ServerClock(place.dataset.tryOutClock);
  clock.measure();
  document.addEventListener("visibilitychange", () => {
    clock.forget(); // a phone that slept may have stopped its clock: a tap would be minutes off
    if (!document.hidden) clock.measure();
  });
  // a page that the browser kept while another one was shown comes back as it was left
  window.addEventListener("pageshow", () => {
    for (const button of place.querySelectorAll("[data-try-out-start] button")) button.disabled = false;
  });
  for (const form of place.querySelectorAll("[data-try-out-start]")) {
    form.addEventListener("submit", (event) => {
      const field = form.querySelector("[name=instant_ms]");
      // An event is noted when it happens, however long the page takes to hear of it.
      field.value = clock.isKnown() ? clock.at(event.timeStamp || performance.now()) : "";
      form.querySelector("button").disabled = true;
    });
  }
}

// A file that somebody has chosen, and a control that has the focus, are left alone.
function isInUse(part) {
  const chosen = [...part.querySelectorAll("input[type=file]")].some((one) => one.files.length);
  return chosen || part.contains(document.activeElement);
}

// What a person sees of it: form tokens differ each time.
function bare(part) {
  return part.innerHTML.replace(/csrfmiddlewaretoken" value="\w+"/g, "");
}

async function refresh(place) {
  const response = await fetch(place.dataset.tryOutStates, { credentials: "same-origin" });
  if (!response.ok) return;
  const page = new DOMParser().parseFromString(await response.text(), "text/html");
  const fresh = page.querySelector("[data-busy]");
  if (!fresh) return;
  let isHeld = false; // it follows later
  for (const part of fresh.querySelectorAll("[data-part]")) {
    const shown = place.querySelector(`[data-part="${part.dataset.part}"]`);
    if (!shown || bare(shown) === bare(part)) continue;
    if (isInUse(shown)) isHeld = true;
    else shown.replaceChildren(...part.childNodes);
  }
  place.querySelector("[data-busy]").dataset.busy = isHeld ? "yes" : fresh.dataset.busy;
}

async function watch(place) {
  const state = place.querySelector("[data-busy]");
  while (state?.dataset.busy === "yes") {
    await new Promise((done) => window.setTimeout(done, EVERY_MS));
    try {
      if (!document.hidden) await refresh(place);
    } catch {
      // no connection: ask again
    }
  }
}

for (const place of document.querySelectorAll("[data-try-out-clock]")) startTaps(place);
for (const place of document.querySelectorAll("[data-try-out-states]")) watch(place);
