// Parts of a page that the server sends anew: each takes the place of its namesake. What has the
// focus has it again afterwards, if `focusOf` (an element → its selector) can name it.

export function putParts(text, focusOf = () => null) {
  const fresh = new DOMParser().parseFromString(text, "text/html");
  const focused = focusOf(document.activeElement);
  const parts = [...fresh.querySelectorAll("[data-part]")];
  for (const part of parts) {
    const old = document.querySelector(`[data-part="${part.dataset.part}"]`);
    if (old) old.replaceWith(document.importNode(part, true));
  }
  return { parts, refocus: () => focused && focusOn(focused) };
}

// Of the same thing drawn in several sizes, the one that is shown.
function focusOn(selector) {
  const shown = [...document.querySelectorAll(selector)].find((one) => one.getClientRects().length);
  shown?.focus({ preventScroll: true });
}

export async function post(url, fields, token) {
  const body = new FormData();
  for (const [name, value] of Object.entries(fields)) body.append(name, value);
  body.append("csrfmiddlewaretoken", token);
  const answer = await fetch(url, {
    method: "POST",
    body,
    credentials: "same-origin",
    headers: { "X-Plan": "parts" },
    keepalive: true, // also as the page is left
    redirect: "manual",
  });
  // A part is never elsewhere: that is the way to sign in.
  if (answer.type === "opaqueredirect") return { status: 401, text: "" };
  return { status: answer.status, text: await answer.text() };
}
