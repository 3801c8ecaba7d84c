// What signing out means for the pages of the pool (portal/leaving.js asks): what is not sent yet
// is tried once more and counted; then everything that they kept goes.

import { everything, forgetAll } from "./offline-forget.js";
import { forgetShells, tellLeft, tidyUp } from "./offline-shell.js";
import { Store } from "./offline-store.js";
import { TOLD } from "./start-log-batch.js";
import { Sync } from "./start-log-sync.js";

const PATIENCE_MS = 6000;
const OTHERS_MS = 150;

export async function waiting() {
  await tidyUp();
  const before = await unsent();
  if (!before.length || !navigator.onLine) return before.length;
  const late = new Promise((resolve) => window.setTimeout(resolve, PATIENCE_MS));
  await Promise.race([sendStarts([...new Set(before.map((item) => item.clinic))]), late]);
  return (await unsent()).length;
}

async function unsent() {
  const { items } = await everything();
  const counts = [...TOLD, "answer"];
  return items.filter((item) => counts.includes(item.kind) && item.state !== "kept");
}

async function sendStarts(clinics) {
  for (const clinic of clinics) {
    const store = await Store.open(clinic);
    const { stateUrl, syncUrl } = store.record;
    if (!stateUrl || !store.waiting(TOLD).length) continue;
    const sync = new Sync({ store, stateUrl, syncUrl, changed() {} });
    await sync.once();
    sync.stop();
  }
}

// Other tabs first, so that none of them writes down again what is cleared.
export async function leave() {
  tellLeft();
  await new Promise((resolve) => window.setTimeout(resolve, OTHERS_MS));
  await forgetAll();
  await forgetShells();
}
