// Before somebody signs out here: what other modules keep in this browser and have not sent yet is
// asked about; then they clear it. Without a script nothing is kept, and the form just goes.
//
// Where no page keeps anything (keeps.js) the form goes at once, too: whoever presses and turns
// away is signed out.
//
// A module (portal/registry.py, `leaving_modules`) exports `waiting()`, how many entries would be
// lost, and `leave()`, which clears them and all else that it keeps.

import { keepNoMore, keeps } from "./keeps.js";

const ask = document.querySelector("[data-leaving-ask]");
if (ask) {
  const modules = ask.dataset.leavingAsk.split(" ").filter(Boolean);
  for (const form of document.querySelectorAll("form[data-leaving]"))
    form.addEventListener("submit", (event) => {
      if (!keeps()) return;
      event.preventDefault();
      leave(form, modules);
    });
}

async function leave(form, addresses) {
  const button = form.querySelector("button");
  button.disabled = true;
  try {
    const modules = await Promise.all(addresses.map((address) => import(address)));
    const counts = await Promise.all(modules.map((module) => module.waiting()));
    const waiting = counts.reduce((sum, count) => sum + count, 0);
    if (waiting && !(await isAgreed(waiting))) return;
    await Promise.all(modules.map((module) => module.leave()));
    keepNoMore();
  } catch {
    // A browser that lets nothing be kept: then there is nothing to clear.
  } finally {
    button.disabled = false;
  }
  form.submit();
}

function isAgreed(waiting) {
  const words = ask.querySelector("[data-leaving-words]");
  words.textContent = words.dataset.leavingWords.replace("{n}", waiting);
  ask.returnValue = "";
  ask.showModal();
  return new Promise((resolve) => {
    ask.addEventListener("close", () => resolve(ask.returnValue === "leave"), { once: true });
  });
}
