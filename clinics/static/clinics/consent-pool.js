// Consent at the pool: a swimmer answers on this phone, and the answer is kept on it until it is
// sent. Names stay on the page; what waits on the phone holds a number and the choices.

import { Clock, newRun } from "./start-log-clock.js";
import { Queue } from "./start-log-queue.js";

const page = document.querySelector("[data-consent-pool]");
if (page?.querySelector("[data-form]")) begin(page);

function begin(page) {
  const words = page.dataset;
  const part = (name) => page.querySelector(`[data-${name}]`);
  const form = part("form");
  const field = (name) => form.elements.namedItem(name);
  const entries = JSON.parse(document.getElementById("consent-pool-entries").textContent);
  const clock = new Clock(words.clockUrl);
  const fill = (text, values) => text.replace(/\{(\w+)\}/g, (_, name) => values[name] ?? "");
  const tell = (name, text) => {
    part(name).hidden = !text;
    part(name).textContent = text;
  };

  const queue = new Queue(`consent-pool-${words.clinic}`, send, (left, state) => {
    const says = { "no-network": words.wordsNoNetwork, "signed-out": words.wordsSignIn };
    part("net").classList.toggle("waiting", left.length > 0);
    const text = fill(says[state] ?? words.wordsToSend, { n: left.length });
    tell("net", left.length ? text : words.wordsAllSent);
  });

  // "kept", "refused" or "signed-out"; throws when there is no network or no server.
  async function send({ what, ...answer }) {
    const body = new URLSearchParams(answer);
    body.set("pass", words.pass);
    body.set("csrfmiddlewaretoken", field("csrfmiddlewaretoken").value);
    const response = await fetch(words.url, {
      method: "POST",
      headers: { Accept: "application/json" },
      credentials: "same-origin",
      body,
    });
    // Nothing is dropped unread: who may not send now (signed out, the clinic closed) keeps it.
    if ([401, 403, 404].includes(response.status)) return "signed-out";
    if (response.status >= 500) throw new Error(`${response.status}`);
    if (response.ok) return "kept";
    const told = await response.json().catch(() => ({ errors: [`${response.status}`] }));
    const why = `${answer.number} ${(told.errors ?? []).join(" ")}`;
    tell("refused", fill(words.wordsRefused, { why }));
    return "refused";
  }

  function show(entry) {
    form.reset();
    form.hidden = !entry;
    part("list").hidden = Boolean(entry);
    if (!entry) return;
    tell("thanks", "");
    tell("refused", "");
    field("number").value = entry.number;
    field("client_id").value = newRun();
    part("name").textContent = entry.name;
    for (const section of form.querySelectorAll(".consent-question")) {
      const purpose = section.querySelector("[type=checkbox]").name;
      const asked = entry.asks.includes(purpose);
      section.hidden = !asked;
      for (const input of section.querySelectorAll("input")) input.disabled = !asked;
    }
    part("name").focus();
    form.scrollIntoView();
  }

  function answered(number) {
    const item = page.querySelector(`[data-entry="${number}"]`);
    if (!item) return;
    const state = item.querySelector("[data-state]");
    state.className = "state";
    state.textContent = words.wordsAnswered;
    item.querySelector("[data-choose]").hidden = true;
  }

  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const ticked = [...form.querySelectorAll(".consent-question [type=checkbox]")];
    if (ticked.some((box) => box.checked && !box.disabled) && !field("adult").checked) {
      tell("refused", words.wordsAdult);
      field("adult").focus();
      return;
    }
    const answer = Object.fromEntries(new FormData(form));
    delete answer.pass;
    delete answer.csrfmiddlewaretoken;
    answer.instant = clock.now().toISOString();
    const entry = entries.find((one) => one.number === Number(answer.number));
    show(null);
    answered(answer.number);
    tell("thanks", fill(words.wordsThanks, { name: entry?.name ?? "" }));
    queue.add({ what: "answer", ...answer });
  });

  page.addEventListener("click", (event) => {
    const choose = event.target.closest("[data-choose]");
    if (!choose && !event.target.closest("[data-back]")) return;
    event.preventDefault();
    show(entries.find((one) => one.number === Number(choose?.dataset.choose)) ?? null);
  });

  window.addEventListener("online", () => queue.flush());
  clock.measure();
  for (const kept of queue.entries()) answered(kept.number);
  if (form.hidden === false) part("list").hidden = true;
  queue.flush();
}
