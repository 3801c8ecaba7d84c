// The codes of the next seconds, fetched in blocks before they are needed, and drawn.

const QUIET = 4; // white modules around the code, as its standard asks
const STEPS_MS = [5, 10, 15, 20, 30, 40, 60, 80, 120, 200, 300, 500];

// Rounded up, so that a few values serve all phones.
function roundedUp(ms) {
  return STEPS_MS.find((step) => step >= ms) ?? 1295;
}

export class Codes {
  constructor({ codesUrl, perBlock, side }) {
    this.url = codesUrl;
    this.perBlock = Number(perBlock);
    this.side = Number(side);
    this.blocks = new Map();
    this.asked = new Set();
  }

  // Ask for the block of a code and the one after it, unless they are here or on their way.
  want(index, exactUMs, toneUMs) {
    const number = Math.floor(index / this.perBlock);
    const uMs = roundedUp(exactUMs);
    for (const one of [number, number + 1]) {
      const key = `${one} ${uMs} ${toneUMs ?? ""}`;
      if (!this.blocks.has(key) && !this.asked.has(key)) this.fetch(one, uMs, toneUMs, key);
    }
    for (const key of this.blocks.keys()) {
      if (Number(key.split(" ")[0]) < number) this.blocks.delete(key);
    }
  }

  async fetch(block, uMs, toneUMs, key) {
    this.asked.add(key);
    const query = new URLSearchParams({ block, u_ms: uMs });
    if (toneUMs !== null) query.set("tone_u_ms", toneUMs);
    try {
      const response = await fetch(`${this.url}?${query}`, {
        headers: { Accept: "application/json" },
      });
      if (!response.ok) throw new Error(`${response.status}`);
      this.blocks.set(key, await response.json());
      this.asked.delete(key);
    } catch {
      window.setTimeout(() => this.asked.delete(key), 2000); // then it may be asked for again
    }
  }

  // The code for these uncertainties; until it is here, one that promises no more than is so.
  get(index, uMs, toneUMs) {
    const number = Math.floor(index / this.perBlock);
    const exact = this.blocks.get(`${number} ${roundedUp(uMs)} ${toneUMs ?? ""}`);
    const block = exact ?? this.cautious(number, uMs, toneUMs);
    return block ? block.codes[index - block.first] : null;
  }

  cautious(number, uMs, toneUMs) {
    for (const [key, block] of this.blocks) {
      const [its, itsUMs, itsToneUMs] = key.split(" ");
      const tone = itsToneUMs === "" || (toneUMs !== null && Number(itsToneUMs) >= toneUMs);
      if (Number(its) === number && Number(itsUMs) >= uMs && tone) return block;
    }
    return null;
  }
}

// Whole device pixels for each module, so that edges are sharp.
export function fitCanvas(canvas, side, availablePx) {
  const dots = window.devicePixelRatio || 1;
  const modules = side + 2 * QUIET;
  const px = Math.max(1, Math.floor((availablePx * dots) / modules));
  if (canvas.width !== px * modules) {
    canvas.width = px * modules;
    canvas.height = px * modules;
    canvas.style.width = `${(px * modules) / dots}px`;
  }
  return px;
}

export function drawCode(canvas, hex, side, px) {
  const pen = canvas.getContext("2d", { alpha: false });
  pen.fillStyle = "#fff";
  pen.fillRect(0, 0, canvas.width, canvas.height);
  if (!hex) return;
  pen.fillStyle = "#000";
  for (let n = 0; n < side * side; n += 1) {
    if ((parseInt(hex[n >> 2], 16) >> (3 - (n & 3))) & 1) {
      pen.fillRect((QUIET + (n % side)) * px, (QUIET + Math.floor(n / side)) * px, px, px);
    }
  }
}
