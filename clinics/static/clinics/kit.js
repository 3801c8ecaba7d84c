// A tick goes out by itself and only the list comes back. Without this the page is loaded anew.

import { post, putParts } from "./plan-parts.js";

const focusOf = (element) =>
  element?.matches("button.tick") ? `button.tick[value="${element.value}"]` : null;

async function tick(form, button) {
  const token = form.elements.csrfmiddlewaretoken.value;
  button.disabled = true;
  const url = form.getAttribute("action");
  const { status, text } = await post(url, { [button.name]: button.value }, token).catch(() => ({}));
  if (status !== 200) return location.assign(location.pathname); // the whole page says what is wrong
  const found = focusOf(button);
  putParts(text);
  return document.querySelector(found)?.focus({ preventScroll: true });
}

document.addEventListener("submit", (event) => {
  if (!event.target.matches("[data-kit-form]") || !event.submitter) return;
  event.preventDefault();
  tick(event.target, event.submitter);
});
