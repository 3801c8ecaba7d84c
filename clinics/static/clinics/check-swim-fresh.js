// Clips that are being made appear when they are there, without moving what somebody is at.

import { start } from "./check-players.js";

const EVERY_MS = 2000;
const TRIES = 300;

async function look(views) {
  const answer = await fetch(location.href, { credentials: "same-origin" });
  if (!answer.ok) return;
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  for (const waiting of views.querySelectorAll("[data-being-made]")) {
    const now = page.querySelector(`[data-fresh="${waiting.dataset.fresh}"]`);
    if (!now || "beingMade" in now.dataset) continue;
    const article = waiting.closest("article");
    waiting.replaceWith(document.importNode(now, true));
    start(article);
  }
}

function watch(views, tries) {
  if (tries === 0 || !views.querySelector("[data-being-made]")) return;
  setTimeout(async () => {
    if (!document.hidden) await look(views).catch(() => {}); // offline: the next try may find it
    watch(views, tries - 1);
  }, EVERY_MS);
}

for (const views of document.querySelectorAll("[data-check-fresh]")) watch(views, TRIES);
