// Worker of one page that opens without a network: the start log, or consent at the pool. It keeps
// that page's shell, which names nobody and holds no token, and the files that the shell needs.
// It keeps nothing else, and answers for nothing else.
//
// RELEASE and FILES stand before this text (clinics/views/offline.py); the release is a hash of
// all that is kept, so that another release brings another worker.
/* global RELEASE, FILES */

const SCOPE = new URL(self.registration.scope).pathname;
const SHELL = `${SCOPE}shell/`;
const PREFIX = `sidelane-shell ${SCOPE} `;
const CACHE = PREFIX + RELEASE;
const PAGE_MS = 3000; // a network that is slower than this is none, at the edge of a pool
const FILE_MS = 2000;
// The start log opens for whoever's sign-in has ended meanwhile, so that no start is lost; what is
// tapped then waits on the phone. Consent asks again who it is.
const OPENS_SIGNED_OUT = SCOPE.endsWith("/starts/");

const fromHere = new Set(); // pages that were opened from what is kept: their files are, too

self.addEventListener("install", (event) => {
  event.waitUntil(fill().then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  event.waitUntil(dropOlder());
});

self.addEventListener("fetch", (event) => {
  const { method, mode, url } = event.request;
  const { origin, pathname } = new URL(url);
  if (method !== "GET" || origin !== self.location.origin) return;
  if (mode === "navigate") {
    if (pathname === SCOPE) event.respondWith(page(event));
  } else if (FILES.includes(pathname)) {
    event.respondWith(file(event));
  }
});

async function fill() {
  const cache = await caches.open(CACHE);
  await Promise.all([...FILES.map((path) => keepFile(cache, path)), keepShell(cache)]);
}

async function keepFile(cache, path) {
  const response = await fetch(new Request(path, { cache: "no-cache" }));
  if (!response.ok) throw new Error(`${path}: ${response.status}`);
  await cache.put(path, response);
}

async function keepShell(cache) {
  const response = await fetch(new Request(SHELL, { cache: "no-store", redirect: "error" }));
  const release = response.headers.get("X-Offline-Release");
  if (!response.ok || release !== RELEASE) throw new Error(`shell: ${response.status}`);
  await cache.put(SHELL, response);
}

async function dropOlder() {
  for (const name of await caches.keys()) {
    if (name.startsWith(PREFIX) && name !== CACHE) await caches.delete(name);
  }
}

function within(ms, promise) {
  const late = new Promise((_, reject) => setTimeout(() => reject(new Error("late")), ms));
  return Promise.race([promise, late]);
}

async function page(event) {
  let answer = null;
  try {
    answer = await within(PAGE_MS, fetch(event.request));
  } catch {
    // no network, or hardly any
  }
  if (answer?.ok) {
    // In the words of today, should the language have changed.
    event.waitUntil(caches.open(CACHE).then(keepShell).catch(() => {}));
    return answer;
  }
  const ended = answer?.type === "opaqueredirect" && OPENS_SIGNED_OUT;
  if (answer && answer.status < 500 && !ended) return answer;
  const shell = await (await caches.open(CACHE)).match(SHELL);
  if (!shell) return answer ?? Response.error();
  fromHere.add(event.resultingClientId);
  return shell;
}

async function file(event) {
  const kept = await (await caches.open(CACHE)).match(new URL(event.request.url).pathname);
  if (kept && fromHere.has(event.clientId)) return kept;
  try {
    const answer = await within(FILE_MS, fetch(event.request));
    if (answer.ok || !kept) return answer;
  } catch (error) {
    if (!kept) throw error;
  }
  return kept;
}
