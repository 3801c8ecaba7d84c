// Words that somebody types are not lost: not where the list or the form around them is replaced
// (htmx) while they are half written, or were written on after something was sent; and not without
// a question where the page is left.

const SAID = "#said";
const fieldsIn = (root) => [...(root?.querySelectorAll("textarea[id]") ?? [])];
const plain = (text) => text.replace(/\r\n/g, "\n");

// What stays of a field, put into its fresh namesake. `sent`: what went of it, if it is the one.
function putBack({ id, value, sent, focused }) {
  const fresh = document.getElementById(id);
  if (!fresh) return;
  const isRefused = sent !== undefined && fresh.value !== ""; // it came back with what was sent
  const isRest = sent !== undefined && !isRefused && value.startsWith(sent);
  fresh.value = isRest ? value.slice(sent.length).trimStart() : value;
  const box = fresh.closest("details");
  if (box) box.open = true;
  if (focused) fresh.focus({ preventScroll: true });
}

function startSwaps() {
  let typed = [];
  document.body.addEventListener("htmx:beforeSwap", ({ detail: { target, requestConfig } }) => {
    if (!target?.matches(`${SAID}, [data-told]`)) return;
    typed = fieldsIn(target).map((field) => {
      const { id, defaultValue } = field;
      const isOwn = field.form !== null && field.form === requestConfig?.elt;
      const sent = isOwn ? plain(String(requestConfig.parameters?.text ?? "")) : undefined;
      const value = plain(field.value);
      const left = value !== (isOwn ? sent : plain(defaultValue));
      return left && { id, value, sent, focused: document.activeElement === field };
    }).filter(Boolean);
  });
  document.body.addEventListener("htmx:afterSwap", () => {
    const all = typed;
    typed = [];
    all.forEach(putBack);
  });
}

// The words to the swimmer are kept as each field is left; until the server has them they are not.
// Gives a question: is there anything that it does not have?
function startWords() {
  const WORDS = "form.words-to-keep";
  const [asked, kept] = [new WeakMap(), new WeakMap()]; // by form, which may be replaced
  const text = (form, of = "value") =>
    [...form.querySelectorAll("textarea, input[type=text]")].map((field) => field[of]).join("\n");
  document.body.addEventListener("htmx:beforeRequest", ({ target }) => {
    if (target.matches(WORDS)) asked.set(target, text(target));
  });
  document.body.addEventListener("htmx:beforeOnLoad", ({ target, detail: { xhr } }) => {
    if (target.matches(WORDS) && xhr.status < 300) kept.set(target, asked.get(target));
  });
  return () => {
    const form = document.querySelector(WORDS);
    return form !== null && text(form) !== (kept.get(form) ?? text(form, "defaultValue"));
  };
}

export function startTyped() {
  const unkept = startWords();
  const unsent = () => fieldsIn(document.querySelector(SAID))
    .some(({ value, defaultValue }) => value.trim() && value !== defaultValue);
  let sends = false; // by the browser itself: a page without htmx
  window.addEventListener("submit", (event) => { sends = !event.defaultPrevented; });
  window.addEventListener("beforeunload", (event) => {
    if (!sends && (unsent() || unkept())) event.preventDefault();
  });
  startSwaps();
}
