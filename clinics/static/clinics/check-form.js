// "Nobody else" and names exclude each other; the list of people shows for "somebody else".
// Without this the form says so after it is sent.

function start(form) {
  const nobody = form.querySelector("input[name=nobody]");
  const names = [...form.querySelectorAll("input[name=others]")];
  nobody.addEventListener("change", () => {
    if (nobody.checked) for (const name of names) name.checked = false;
  });
  for (const name of names) {
    name.addEventListener("change", () => {
      if (name.checked) nobody.checked = false;
    });
  }

  const persons = [...form.querySelectorAll("input[name=person]")];
  const somebody = form.querySelector("[data-somebody-else]");
  const show = () => {
    const other = persons.some((input) => input.checked && input.value === "other");
    somebody.classList.toggle("away", !other);
  };
  for (const input of persons) input.addEventListener("change", show);
  show();
}

for (const form of document.querySelectorAll("[data-check-form]")) start(form);
