// Keeps every job on the page up to date, wherever a data-job attribute names its address.
// Tells the page by a "job:changed" event with the job as detail, and by "job:ended" at its end.

const SOON_MS = 1000;
const LATEST_MS = 5000;
const AT_ONCE = 4; // so many jobs are asked about in one round; the others follow
const OPEN = new Set(["waiting", "running"]);

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
  const response = await fetch(place.dataset.job, {
    headers: { Accept: "application/json" },
    credentials: "same-origin",
    ...options,
  });
  if (response.status === 404) {
    place.dataset.jobState = "gone"; // removed, or no longer ours to see
    return;
  }
  if (!response.ok) throw new Error(`${response.status}`);
  show(place, await response.json());
}

function follow(root) {
  let wait = SOON_MS;
  let turn = 0;
  let timer = 0;

  const open = () =>
    [...root.querySelectorAll("[data-job]")].filter((place) => OPEN.has(place.dataset.jobState));

  async function round() {
    const places = open();
    if (places.length && !document.hidden) {
      const chosen = Array.from(
        { length: Math.min(AT_ONCE, places.length) },
        (_, n) => places[(turn + n) % places.length],
      );
      turn += chosen.length;
      const told = await Promise.allSettled(chosen.map((place) => ask(place)));
      const failed = told.some((one) => one.status === "rejected");
      wait = failed ? Math.min(wait * 2, LATEST_MS) : SOON_MS;
      const over = chosen.some(
        (place) => "jobReload" in place.dataset && place.dataset.jobState === "done",
      );
      if (over && !open().some((place) => "jobReload" in place.dataset)) {
        window.location.reload();
        return;
      }
    }
    timer = window.setTimeout(round, wait);
  }

  function soon() {
    window.clearTimeout(timer);
    timer = window.setTimeout(round, 0);
  }

  root.addEventListener("submit", (event) => {
    const place = event.target.closest("[data-job]");
    if (!place || event.target.getAttribute("action") !== place.dataset.job) return;
    event.preventDefault();
    const body = new FormData(event.target, event.submitter);
    ask(place, { method: "POST", body }).then(soon, () => event.target.submit());
  });
  root.addEventListener("visibilitychange", soon);
  soon();
}

follow(document);
