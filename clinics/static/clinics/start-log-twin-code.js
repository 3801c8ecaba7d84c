// The text in the code of a phone's clock, as in clinics/compute/phone_clock/twins.py.

const CODE = /^sidelane-clock:1:([A-Za-z0-9._-]{1,60}):([0-9]{1,11}(?:\.[0-9]{1,3})?)$/;

export function formatCode(run, monotonicMs) {
  return `sidelane-clock:1:${run}:${monotonicMs.toFixed(1)}`;
}

// { run, ms }, or null: it is another code.
export function readCode(text) {
  const [, run, ms] = CODE.exec(text.trim()) ?? [];
  return run ? { run, ms: Number(ms) } : null;
}
