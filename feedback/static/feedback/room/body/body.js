export function startBody() {}
