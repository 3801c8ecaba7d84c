export function startRateRead() {}
