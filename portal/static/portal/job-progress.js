// Keeps every job on the page up to date, wherever a data-job attribute names its address.
// Tells the page by a "job:changed" event with the job as detail, and by "job:ended" at its end.

const SOON_MS = 1000;
const LATEST_MS = 5000;
const AT_ONCE = 4; // so many jobs are asked about in one round; the others follow
const OPEN = new Set(["waiting", "running"]);

const asked = new WeakMap(); // by place, how many times: an older answer is not shown
const acting = new WeakSet(); // places whose button was pressed: until it is answered nothing is asked

function show(place, job) {
  const before = place.dataset.jobState;
  place.dataset.jobState = job.state;
  const bar = place.querySelector("progress");
  if (bar) {
    bar.value = job.progress;
    bar.hidden = !OPEN.has(job.state);
  }
  const words = place.querySelector("[data-job-words]");
  if (words && words.textContent !== job.words) words.textContent = job.words;
  const cancel = place.querySelector('button[value="cancel"]');
  if (cancel) cancel.hidden = !job.can_cancel;
  const again = place.querySelector('button[value="retry"]');
  if (again) again.hidden = !job.can_retry;
  place.dispatchEvent(new CustomEvent("job:changed", { bubbles: true, detail: job }));
  if (OPEN.has(before) && !OPEN.has(job.state)) {
    place.dispatchEvent(new CustomEvent("job:ended", { bubbles: true, detail: job }));
  }
}

async function ask(place, options = {}) {
  const mine = (asked.get(place) ?? 0) + 1;
  asked.set(place, mine);
  const response = await fetch(place.dataset.job, {
    headers: { Accept: "application/json" },
    credentials: "same-origin",
    ...options,
  });
  if (asked.get(place) !== mine) return;
  if (response.status === 404) {
    place.dataset.jobState = "gone"; // removed, or no longer ours to see
    return;
  }
  if (!response.ok) throw new Error(`${response.status}`);
  const job = await response.json();
  if (asked.get(place) === mine) show(place, job);
}

async function act(place, form, button) {
  if (acting.has(place)) return;
  acting.add(place);
  try {
    await ask(place, { method: "POST", body: new FormData(form, button) });
  } catch {
    const { name = "", value = "" } = button ?? {}; // the form alone would not say which one it was
    form.append(Object.assign(document.createElement("input"), { type: "hidden", name, value }));
    form.submit();
  } finally {
    acting.delete(place);
  }
}

function follow(root) {
  let wait = SOON_MS;
  let turn = 0;
  let timer = 0;
  let isAsking = false;
  let reload = false; // something ended that the page is to be loaded anew for

  const open = () =>
    [...root.querySelectorAll("[data-job]")].filter((place) => OPEN.has(place.dataset.jobState));
  root.addEventListener("job:ended", ({ target, detail }) => {
    reload ||= "jobReload" in target.dataset && detail.state === "done";
  });

  async function round() {
    isAsking = true;
    const places = open().filter((place) => !acting.has(place));
    if (places.length && !document.hidden) {
      const chosen = Array.from(
        { length: Math.min(AT_ONCE, places.length) },
        (_, n) => places[(turn + n) % places.length],
      );
      turn += chosen.length;
      const told = await Promise.allSettled(chosen.map((place) => ask(place)));
      const failed = told.some((one) => one.status === "rejected");
      wait = failed ? Math.min(wait * 2, LATEST_MS) : SOON_MS;
      if (reload && !open().some((place) => "jobReload" in place.dataset)) {
        window.location.reload();
        return;
      }
    }
    isAsking = false;
    timer = window.setTimeout(round, wait);
  }

  // At once; while a round is under way the next one is near enough.
  function soon() {
    if (isAsking) return;
    window.clearTimeout(timer);
    timer = window.setTimeout(round, 0);
  }

  root.addEventListener("submit", (event) => {
    const place = event.target.closest("[data-job]");
    if (!place || event.target.getAttribute("action") !== place.dataset.job) return;
    event.preventDefault();
    act(place, event.target, event.submitter).then(soon);
  });
  root.addEventListener("visibilitychange", soon);
  soon();
}

follow(document);
