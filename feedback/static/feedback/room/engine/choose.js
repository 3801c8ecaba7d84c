// Which engine: frames decoded by the page where the browser can do that (it needs HTTPS or
// localhost), else steered players. `?engine=players` asks for those.

const LIKE_OURS = { codec: "avc1.640020", codedWidth: 1280, codedHeight: 720 };

export async function chooseKind(asked) {
  const wish = asked ?? new URLSearchParams(location.search).get("engine");
  if (wish === "players" || !("VideoDecoder" in window)) return "players";
  const told = await VideoDecoder.isConfigSupported(LIKE_OURS).catch(() => null);
  return told?.supported ? "frames" : "players";
}

export async function driverOf(kind, options) {
  const { createDriver } = await import(kind === "frames" ? "./frames.js" : "./players.js");
  return createDriver(options);
}
