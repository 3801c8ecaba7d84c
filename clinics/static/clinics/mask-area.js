// An area to be covered, dragged over a picture with a pointer or a finger. The number fields say
// the same in hundredths and are what is sent, so all of it works without this script, too.

const NAMES = ["left", "top", "width", "height"];
const LEAST = 0.005;

function within(value) {
  return Math.min(1, Math.max(0, value));
}

function tenths(share) {
  return Math.round(share * 1000); // of a hundredth; rounded before the width is taken
}

function start(form) {
  const picture = form.querySelector("[data-mask-picture]");
  if (!picture) return;
  const fresh = picture.querySelector("[data-mask-new]");
  const fields = NAMES.map((name) => form.elements[name]);
  let corner = null;

  function draw() {
    const [x, y, width, height] = fields.map((field) => within(Number(field.value) / 100 || 0));
    for (const [name, value] of Object.entries({ x, y, width, height })) {
      fresh.setAttribute(name, value);
    }
  }

  function placeOf(event) {
    const box = picture.getBoundingClientRect();
    return [
      within((event.clientX - box.left) / box.width),
      within((event.clientY - box.top) / box.height),
    ];
  }

  function drag(event) {
    const [x, y] = placeOf(event);
    if (Math.abs(x - corner[0]) < LEAST || Math.abs(y - corner[1]) < LEAST) return; // a tap
    const [left, right] = [x, corner[0]].map(tenths).sort((a, b) => a - b);
    const [top, bottom] = [y, corner[1]].map(tenths).sort((a, b) => a - b);
    const area = [left, top, right - left, bottom - top];
    fields.forEach((field, n) => (field.value = (area[n] / 10).toFixed(1)));
    draw();
  }

  picture.addEventListener("pointerdown", (event) => {
    if (event.button > 0) return;
    event.preventDefault();
    corner = placeOf(event);
    picture.setPointerCapture(event.pointerId);
  });
  picture.addEventListener("pointermove", (event) => {
    if (corner && picture.hasPointerCapture(event.pointerId)) drag(event);
  });
  picture.addEventListener("pointerup", () => (corner = null));
  picture.addEventListener("pointercancel", () => (corner = null));
  for (const field of fields) field.addEventListener("input", draw);
  picture.classList.add("drawable");
  for (const hint of form.querySelectorAll("[data-mask-hint]")) hint.hidden = false;
  draw();
}

for (const form of document.querySelectorAll("[data-mask-form]")) start(form);
