// Sizes, speeds and times left in words. Pure: no page, no clock.

const UNITS = ["byte", "kilobyte", "megabyte", "gigabyte", "terabyte"];

export function bytesInWords(bytes, language) {
  let unit = 0;
  let value = bytes;
  while (value >= 1000 && unit < UNITS.length - 1) {
    value /= 1000;
    unit += 1;
  }
  const digits = value < 10 && unit > 0 ? 1 : 0;
  const how = { style: "unit", unit: UNITS[unit], maximumFractionDigits: digits };
  return new Intl.NumberFormat(language, how).format(value);
}

export function timeLeft(seconds, words, language) {
  if (!Number.isFinite(seconds)) return "…";
  if (seconds < 90) return words.seconds.replace("{n}", String(Math.max(1, Math.round(seconds))));
  if (seconds < 5400) return words.minutes.replace("{n}", String(Math.round(seconds / 60)));
  const hours = new Intl.NumberFormat(language, { maximumFractionDigits: 1 }).format(seconds / 3600);
  return words.hours.replace("{n}", hours);
}

export function fill(sentence, values) {
  return sentence.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? values[name] : whole));
}

// Bytes a second over the last few seconds. `samples` are [milliseconds, bytes], oldest first.
export function speedOf(samples, windowMs = 8000) {
  const last = samples.at(-1);
  const first = samples.find(([at]) => last[0] - at <= windowMs);
  if (!last || !first || last[0] === first[0]) return 0;
  return ((last[1] - first[1]) * 1000) / (last[0] - first[0]);
}

// What of the dropped files is new, half here or here, against what the server knows.
// The card's id goes on if one of its files was sent before.
export function sortOut(files, known, newCard) {
  const sameAs = (file) => (row) =>
    row.name === file.name && row.size === file.size && row.modified === file.lastModified;
  const found = files.map((file) => known.find(sameAs(file)) ?? null);
  const earlier = found.find((row) => row !== null && row.state !== "taken") ?? null;
  const card = earlier ? earlier.card : newCard;
  const before = known.filter((row) => row.card === card);
  const fresh = found.filter((row) => row === null).length;
  const told = Math.max(0, ...before.map((row) => row.card_files));
  return { found, card, cardFiles: Math.max(told, before.length + fresh) };
}
