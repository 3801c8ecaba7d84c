// A choice that the server did not keep is said beside it, until the server has all of them again.

for (const form of document.querySelectorAll("[data-kept-at-once]")) {
  const note = form.querySelector("[data-not-kept]");
  for (const failed of ["htmx:sendError", "htmx:responseError"])
    form.addEventListener(failed, () => { note.hidden = false; });
  form.addEventListener("htmx:beforeOnLoad", ({ detail }) => {
    if (detail.xhr.status < 400) note.hidden = true; // it has the whole form
  });
}
