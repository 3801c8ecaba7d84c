// A row of the form for each mark: what it is, where, how well that is known. Rows are made once,
// so that what is being typed keeps its place.

export function createMarkRows(form, marks, { focusBack }) {
  const list = form.querySelector("[data-plane-marks]");
  const template = form.querySelector("[data-plane-mark]");
  const rows = new Map();
  const words = form.closest("[data-plane]").dataset;
  const usual = (select) => select.selectedOptions[0].dataset.usual;

  function made(mark) {
    const row = template.content.firstElementChild.cloneNode(true);
    const find = (name) => row.querySelector(`[data-${name}]`);
    const [what, along, across, cm] = ["what", "along", "across", "cm"].map(find);
    what.value = mark.what;
    cm.value = mark.cm;
    what.addEventListener("change", () => {
      cm.value = usual(what);
      marks.tell(mark.key, { what: what.value, cm: cm.value });
    });
    for (const [name, field] of Object.entries({ along, across, cm }))
      field.addEventListener("input", () => marks.tell(mark.key, { [name]: field.value }));
    for (const quick of row.querySelectorAll("[data-quick]"))
      quick.addEventListener("click", () => {
        along.value = quick.dataset.quick;
        marks.tell(mark.key, { along: along.value });
        across.focus();
      });
    row.addEventListener("keydown", (event) => {
      if (event.key !== "Enter" || !event.target.matches("input")) return;
      event.preventDefault(); // to what is still empty, then back to the picture
      const empty = [along, across].find((field) => field !== event.target && !field.value.trim());
      if (empty) empty.focus();
      else focusBack(event.target);
    });
    find("remove").addEventListener("click", () => {
      const next = row.nextElementSibling ?? row.previousElementSibling;
      marks.remove(mark.key);
      next?.querySelector("[data-remove]").focus();
    });
    return row;
  }

  function name(row, n) {
    row.querySelector("[data-n]").textContent = n;
    for (const field of row.querySelectorAll("[data-label]"))
      field.ariaLabel = words.markLabel.replace("{n}", n).replace("{label}", field.dataset.label);
  }

  return {
    show() {
      const all = marks.all();
      for (const [key, row] of rows)
        if (!all.some((mark) => mark.key === key)) {
          row.remove();
          rows.delete(key);
        }
      all.forEach((mark, n) => {
        if (!rows.has(mark.key)) {
          rows.set(mark.key, made(mark));
          list.append(rows.get(mark.key));
        }
        name(rows.get(mark.key), n + 1);
      });
    },
    // What the next mark begins with: as the last one.
    usual() {
      const last = marks.all().at(-1)?.what;
      const select = template.content.querySelector("[data-what]");
      const what = last ?? select.options[0].value;
      const option = [...select.options].find((one) => one.value === what);
      return { what, cm: option.dataset.usual };
    },
    focus: (key) => rows.get(key)?.querySelector("[data-along]").focus(),
  };
}
