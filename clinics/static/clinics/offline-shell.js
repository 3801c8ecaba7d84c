// Makes a page of the pool ready to open without a network, and says whether it is.

import { forgetOld } from "./offline-forget.js";
import { closeStore, isClosed } from "./offline-store.js";

const CHANNEL = "sidelane-pool";
const OURS = /^\/clinics\/([0-9a-f-]{36})\/(starts|consent\/pool)\/$/;
const PREFIX = "sidelane-shell ";

function clinicOf(registration) {
  return OURS.exec(new URL(registration.scope).pathname)?.[1];
}

// "ready", "not-ready" (the worker could not keep everything) or "no-worker" (no secure address,
// or a browser without them).
export async function makeReady(workerUrl, scope) {
  if (!navigator.serviceWorker) return "no-worker";
  if (isClosed()) return "not-ready";
  try {
    const options = { scope, updateViaCache: "none" };
    const registration = await navigator.serviceWorker.register(workerUrl, options);
    await settled(registration.installing);
  } catch {
    // without a network the one that is here stays
  }
  return (await isReady(scope)) ? "ready" : "not-ready";
}

function settled(worker) {
  return new Promise((resolve) => {
    const look = () => ["activated", "redundant"].includes(worker.state) && resolve();
    if (!worker) return resolve();
    worker.addEventListener("statechange", look);
    look();
  });
}

export async function isReady(scope) {
  if (!navigator.serviceWorker) return false;
  const registration = await navigator.serviceWorker.getRegistration(scope);
  const whole = registration?.active && new URL(registration.scope).pathname === scope;
  return Boolean(whole && (await caches.match(`${scope}shell/`)));
}

// Asks the browser not to clear by itself what is not sent yet.
export async function askToStay() {
  try {
    return await navigator.storage.persist();
  } catch {
    return false;
  }
}

// Worker and shell of these clinics; of all, if none is named.
export async function forgetShells(clinics = null) {
  const goes = (clinic) => clinic && (clinics === null || clinics.includes(clinic));
  const registrations = (await navigator.serviceWorker?.getRegistrations()) ?? [];
  for (const registration of registrations) {
    if (goes(clinicOf(registration))) await registration.unregister();
  }
  for (const name of (await window.caches?.keys()) ?? []) {
    const clinic = OURS.exec(name.slice(PREFIX.length).split(" ")[0])?.[1];
    if (name.startsWith(PREFIX) && goes(clinic)) await caches.delete(name);
  }
}

export async function tidyUp() {
  try {
    await forgetShells(await forgetOld());
  } catch {
    // the next visit tries again
  }
}

// When somebody signs out in another tab, nothing stays on this screen either.
export function goWhenLeft(url) {
  if (!window.BroadcastChannel) return;
  new BroadcastChannel(CHANNEL).addEventListener("message", (event) => {
    if (event.data !== "left") return;
    closeStore();
    location.replace(url);
  });
}

export function tellLeft() {
  if (window.BroadcastChannel) new BroadcastChannel(CHANNEL).postMessage("left");
}
