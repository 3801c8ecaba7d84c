// A tick goes out by itself and only the list comes back. Without this the page is loaded anew.

import { post, putParts } from "./plan-parts.js";

const focusOf = (element) =>
  element?.matches("button.tick") ? `button.tick[value="${element.value}"]` : null;

// One after the other: the whole list comes back, and the last answer is what the server has.
let before = Promise.resolve();

async function tick({ url, fields, token }) {
  const { status, text } = await post(url, fields, token).catch(() => ({}));
  if (status !== 200) return location.assign(location.pathname); // the whole page says what is wrong
  return putParts(text, focusOf).refocus();
}

document.addEventListener("submit", (event) => {
  const { target: form, submitter: button } = event;
  if (!form.matches("[data-kit-form]") || !button) return;
  event.preventDefault();
  if (button.dataset.sent) return; // its line comes back, and then has another button
  button.dataset.sent = "yes";
  const token = form.elements.csrfmiddlewaretoken.value;
  const asked = { url: form.getAttribute("action"), fields: { [button.name]: button.value }, token };
  before = before.then(() => tick(asked));
});
