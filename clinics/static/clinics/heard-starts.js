// Choosing another swimmer lets the rest follow at once; without this a button does it.

for (const form of document.querySelectorAll("[data-heard-starts]")) {
  for (const button of form.querySelectorAll("[data-name-button]")) button.hidden = true;
  form.addEventListener("change", (event) => {
    const select = event.target.closest("[data-who]");
    if (select) form.requestSubmit(select.parentElement.querySelector("[data-name-button]"));
  });
}
