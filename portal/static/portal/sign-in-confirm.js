// The page behind the mail's link: takes the code out of the address's fragment, shows it,
// and in the browser that asked for it offers to send it.
// The fragment never reaches the server, and it is taken off the address at once.

export function codeFrom(fragment) {
  const code = new URLSearchParams(fragment.replace(/^#/, "")).get("code") ?? "";
  return /^\d{6,10}$/.test(code) ? code : null;
}

export function grouped(code) {
  const half = Math.floor(code.length / 2);
  return `${code.slice(0, half)} ${code.slice(half)}`;
}

function start(page) {
  const code = codeFrom(window.location.hash);
  window.history.replaceState(null, "", window.location.pathname);
  if (code === null) return;
  page.querySelector("[data-figures]").textContent = grouped(code);
  page.querySelector("[data-no-code]").hidden = true;
  const form = page.querySelector("[data-confirm]");
  if (form) {
    form.elements.code.value = code;
    form.hidden = false;
    form.querySelector("button").focus();
  } else {
    page.querySelector("[data-elsewhere]").hidden = false;
  }
}

for (const page of document.querySelectorAll("[data-sign-in-confirm]")) start(page);
