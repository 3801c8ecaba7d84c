// What the slate says about its clock, and the time of day in words.

import { TOO_VAGUE_MS } from "./slate-clock.js";

const language = document.documentElement.lang;
const fill = (text, values) => text.replace(/\{(\w+)\}/g, (_, name) => values[name] ?? "");

function number(value, digits) {
  return value.toLocaleString(language, {
    minimumFractionDigits: digits,
    maximumFractionDigits: digits,
  });
}

// The clinic's wall clock, with so many digits after the seconds.
export function wallClock(zone, digits = 0) {
  const format = new Intl.DateTimeFormat(language, {
    timeZone: zone,
    hour: "2-digit",
    minute: "2-digit",
    second: "2-digit",
    hourCycle: "h23",
    ...(digits ? { fractionalSecondDigits: digits } : {}),
  });
  return (ms) => format.format(new Date(ms));
}

export function aboutClock(clock, words, isMeasuring) {
  if (clock.state === "signed-out") return words.wordsSignedOut;
  if (clock.state === "slow" && clock.halfMs > TOO_VAGUE_MS) {
    return fill(words.wordsSlow, { ms: number(Math.ceil(clock.halfMs), 0) });
  }
  if (!clock.isKnown()) {
    if (isMeasuring || clock.state === "measuring") return words.wordsMeasuring;
    if (!clock.measuredDate) return words.wordsNever;
    const time = wallClock(words.zone)(clock.measuredDate.getTime());
    return fill(words.wordsSince, { time });
  }
  const values = {
    s: number(Math.abs(clock.aheadMs) / 1000, 2),
    ms: number(Math.ceil(clock.halfMs), 0),
  };
  if (Math.abs(clock.aheadMs) <= clock.halfMs) return fill(words.wordsRight, values);
  return fill(clock.aheadMs > 0 ? words.wordsAhead : words.wordsBehind, values);
}
