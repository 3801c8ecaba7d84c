// Seconds as the reader writes them; what rounds to nothing has no minus before it.
export const secondsFormat = (digits = 2) => new Intl.NumberFormat(document.documentElement.lang, {
  minimumFractionDigits: digits, maximumFractionDigits: digits, signDisplay: "negative",
});
