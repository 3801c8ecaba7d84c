// "Nobody else" and names exclude each other. Without this the form says so after it is sent.

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
}

for (const form of document.querySelectorAll("[data-check-form]")) start(form);
