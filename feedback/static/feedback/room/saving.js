// Whether to ask before films are fetched, and how large they are. Pure.

const SLOW = ["slow-2g", "2g", "3g"];

// `asked`: what the person said on this device ("on", "off" or null). Else where data is likely
// to cost something: the browser says so, the connection is slow, or this is a phone.
export function savesData({ asked, connection, narrow }) {
  if (asked === "on" || asked === "off") return asked === "on";
  return Boolean(connection?.saveData) || SLOW.includes(connection?.effectiveType) || narrow;
}

export const smallestBytes = (view) =>
  view.renditions.reduce((best, one) => (one.height < best.height ? one : best)).size_bytes;

export const largestBytes = (view) =>
  view.renditions.reduce((best, one) => (one.height > best.height ? one : best)).size_bytes;

export function sizeWords(bytes, lang) {
  const megabytes = Math.max(0.1, bytes / 1e6);
  return new Intl.NumberFormat(lang, {
    style: "unit", unit: "megabyte", maximumFractionDigits: megabytes < 10 ? 1 : 0,
  }).format(megabytes);
}
