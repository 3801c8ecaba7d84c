export function startPlane() {}
