// A page that holds nothing but four views and the engine, and what a test asks of it. It runs
// under the site's own content security policy.

import { openEngine } from "/static/feedback/room/engine/engine.js";

const CELLS = 40;
const bitsOf = (levels) => levels.map((level) => Number(level > 125.5));
const integer = (bits) => bits.reduce((sum, bit) => sum * 2 + bit, 0);

// The painted number in a row of brightness (one line of pixels); null: none, or damaged.
function numberIn(row) {
  const cell = row.length / CELLS;
  const bits = bitsOf(Array.from({ length: CELLS }, (_, n) => {
    const part = row.slice(Math.floor((n + 0.25) * cell), Math.ceil((n + 0.75) * cell));
    return part.reduce((sum, value) => sum + value, 0) / part.length;
  }));
  if (bits.slice(0, 4).join("") !== "1010") return null;
  const value = integer(bits.slice(4, 36));
  let sum = 0;
  for (let rest = value; rest; rest = Math.floor(rest / 16)) sum += rest % 16;
  return sum % 16 === integer(bits.slice(36)) ? value : null;
}

// All surfaces are taken hold of in one go; only the painted row of each is copied.
async function read(surfaces) {
  const held = surfaces.map((surface) => {
    try { return new VideoFrame(surface, { timestamp: 0 }); } catch { return null; } // empty
  });
  return Promise.all(held.map(async (picture) => {
    if (!picture) return null;
    const width = picture.codedWidth;
    const rect = { x: 0, y: 0, width, height: 2 * Math.ceil(width / CELLS / 2) };
    const bytes = new Uint8Array(picture.allocationSize({ rect }));
    const [{ offset, stride }] = await picture.copyTo(bytes, { rect });
    const step = picture.format.startsWith("I420") || picture.format === "NV12" ? 1 : 4;
    picture.close();
    const line = offset + Math.floor(width / CELLS / 2) * stride;
    // of coloured pixels the green one: the row is grey
    const at = (x) => bytes[line + x * step + (step === 4 ? 1 : 0)];
    return numberIn(Array.from({ length: width }, (_, x) => at(x)));
  }));
}

// The painted numbers on all views now.
window.numbers = () => read([...document.querySelectorAll("[data-surface]")]);

window.openRoom = async (views, options = {}) => {
  window.shows = [];
  window.states = [];
  window.troubles = [];
  const pictures = document.querySelectorAll(".picture");
  window.engine = await openEngine(
    views.map((view, n) => ({ ...view, picture: pictures[n] })),
    {
      ...options,
      onShow: (told) => window.shows.push({ ...told, now_ms: performance.now() }),
      onState: (told) => window.states.push(told),
      onTrouble: (key, error) => window.troubles.push([key, String(error)]),
    },
  );
  window.keys = views.map(({ key }) => key);
  return window.engine.kind;
};

// What is on screen and what the engine says of it, `count` times, so many milliseconds apart.
window.watch = async (count, apart_ms) => {
  const seen = [];
  for (let n = 0; n < count; n += 1) {
    await new Promise((done) => setTimeout(done, apart_ms));
    await new Promise(requestAnimationFrame);
    const { at_s, waiting, frames } = window.engine.state();
    const shown = await window.numbers();
    seen.push({ at_s, waiting, shown, frames: window.keys.map((key) => frames[key] ?? null) });
  }
  return seen;
};

window.harnessReady = true;
