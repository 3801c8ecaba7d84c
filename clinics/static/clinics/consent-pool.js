// Consent at the pool: a swimmer answers on this phone, and the answer is on its disk until it is
// sent. The page opens without a network, too: the list and the pass wait beside the answers.

import { drawList, drawRefused, fill } from "./consent-pool-list.js";
import { Answers } from "./consent-pool-send.js";
import { askToStay, goWhenLeft, makeReady, tidyUp } from "./offline-shell.js";
import { Store } from "./offline-store.js";
import { Clock, newId } from "./start-log-clock.js";
import { parts } from "./start-log-words.js";

const page = document.querySelector("[data-consent-pool]");
if (page?.querySelector("[data-form]")) begin(page);

async function begin(page) {
  const words = page.dataset;
  const part = parts(page);
  const form = part("form");
  const field = (name) => form.elements.namedItem(name);
  const tell = (name, text) => {
    part(name).hidden = !text;
    part(name).textContent = text;
  };
  const told = document.getElementById("consent-pool-entries");
  const given = new Set(); // answered since the list was made
  form.addEventListener("submit", (event) => event.preventDefault());

  await tidyUp();
  const store = await Store.open(words.clinic);
  if (told) {
    const entries = JSON.parse(told.textContent);
    const pool = { entries, pass: words.pass, as_of_ms: Number(words.nowMs) };
    await store.note({ day: words.day, pool }).catch(() => {});
  }
  const entries = store.record.pool?.entries ?? [];
  const came = (_burst, ahead) => store.notePhone({ ahead }).catch(() => {});
  const clock = new Clock(words.clockUrl, { ahead: store.phone.ahead, came });
  const token = field("csrfmiddlewaretoken")?.value ?? "";
  const answers = new Answers({ store, url: words.url, stateUrl: words.stateUrl, token, changed: draw });

  function draw(state = answers.state) {
    const left = answers.waiting();
    const says = { "no-network": words.wordsNoNetwork, "signed-out": words.wordsSignIn };
    const text = fill(says[state] ?? words.wordsToSend, { n: left.length });
    part("net").classList.toggle("waiting", left.length > 0);
    if (left.length || given.size || !part("net").hidden)
      tell("net", left.length ? text : words.wordsAllSent);
    part("make-ready").hidden = state !== "signed-out" || !left.length;
    for (const item of left) answered(item.body.number);
    drawRefused(page, answers.refused(), (item) => store.remove([item]).finally(() => draw()));
  }

  function show(entry) {
    form.reset();
    form.hidden = !entry;
    part("list").hidden = Boolean(entry);
    if (!entry) return;
    tell("thanks", "");
    tell("refused", "");
    field("number").value = entry.number;
    field("client_id").value = newId();
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

  form.addEventListener("submit", async () => {
    const ticked = [...form.querySelectorAll(".consent-question [type=checkbox]")];
    if (ticked.some((box) => box.checked && !box.disabled) && !field("adult").checked) {
      tell("refused", words.wordsAdult);
      field("adult").focus();
      return;
    }
    const { client_id, ...answer } = Object.fromEntries(new FormData(form));
    delete answer.pass;
    delete answer.csrfmiddlewaretoken;
    const atMs = clock.nowMs();
    answer.instant = new Date(atMs).toISOString();
    const name = entries.find((one) => one.number === Number(answer.number))?.name ?? "";
    const kept = await store.keep("answer", client_id, answer, atMs).then(() => true, () => false);
    if (!kept) await answers.flush(); // it is in memory alone: it goes now, or has to be asked again
    if (!kept && answers.waiting().length) return tell("refused", words.wordsUnkept);
    given.add(answer.number);
    if (field("client_id").value === client_id) show(null); // else somebody else's form is open by now
    answered(answer.number);
    tell("thanks", fill(words.wordsThanks, { name }));
    draw();
    answers.flush();
  });

  page.addEventListener("click", (event) => {
    const choose = event.target.closest("[data-choose]");
    if (!choose && !event.target.closest("[data-back]")) return;
    event.preventDefault();
    show(entries.find((one) => one.number === Number(choose?.dataset.choose)) ?? null);
  });

  window.addEventListener("online", () => answers.flush());
  window.addEventListener("beforeunload", (event) => { if (store.isOnNoDisk()) event.preventDefault(); });
  goWhenLeft(words.homeUrl);
  if (!told) drawList(page, store.record.pool);
  if (form.hidden === false) part("list").hidden = true;
  draw();
  answers.flush();
  await clock.measure();
  const ready = await makeReady(words.workerUrl, new URL(words.url, location.href).pathname);
  page.dataset.ready = ready;
  tell("ready", ready === "ready" ? words.wordsReady : words.wordsNotReady);
  askToStay();
}
