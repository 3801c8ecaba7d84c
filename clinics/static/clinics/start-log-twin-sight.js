// Draws a QR code, and reads those before the camera. Where the browser reads codes by itself it
// does; else our own reader does, on a picture small enough for a few readings a second.

import { decodeQR } from "../portal/vendor/qr/decode.js";
import { encodeQR } from "../portal/vendor/qr/index.js";

const QUIET = 4; // white modules around the code, as its standard asks
const SIDE_PX = 480;
const READ_EVERY_MS = 120;

// `textAt(nowMs)` is asked as late as possible: what is drawn must not be older than it says.
export function drawCode(canvas, textAt) {
  const rows = encodeQR(textAt(performance.now()), "raw", { border: QUIET, ecc: "low" });
  const px = Math.max(2, Math.floor(SIDE_PX / rows.length));
  const side = px * rows.length;
  if (canvas.width !== side) canvas.width = canvas.height = side;
  const pen = canvas.getContext("2d", { alpha: false });
  pen.fillStyle = "#fff";
  pen.fillRect(0, 0, side, side);
  pen.fillStyle = "#000";
  rows.forEach((row, y) => {
    row.forEach((dark, x) => dark && pen.fillRect(x * px, y * px, px, px));
  });
}

export class Reader {
  // `found(text, atMs)`: `atMs` on the monotonic clock, when the picture was taken from the camera.
  constructor(video, found) {
    Object.assign(this, { video, found, on: false, stream: null, detector: null, turn: 0 });
    this.canvas = document.createElement("canvas");
  }

  // False: there is no camera, or it may not be used. Null: stopped, or begun anew, meanwhile; then
  // no camera stays on.
  async begin(facing) {
    this.stop();
    const mine = this.turn;
    const wanted = { facingMode: facing, width: { ideal: 1280 } };
    try {
      const stream = await navigator.mediaDevices.getUserMedia({ video: wanted, audio: false });
      if (mine !== this.turn) return release(stream);
      this.video.srcObject = this.stream = stream;
      await this.video.play();
      this.detector = await ownReader();
    } catch {
      if (mine !== this.turn) return null;
      this.stop();
      return false;
    }
    if (mine !== this.turn) return null;
    this.on = true;
    this.round(this.stream);
    return true;
  }

  stop() {
    this.turn += 1;
    release(this.stream);
    this.video.srcObject = null;
    this.stream = null;
    this.on = false;
  }

  async round(stream) {
    let last = "";
    while (this.on && this.stream === stream) {
      const atMs = performance.now();
      const text = await this.look().catch(() => "");
      if (!this.on || this.stream !== stream) return;
      if (text && text !== last) this.found((last = text), atMs);
      await new Promise((resolve) => window.setTimeout(resolve, READ_EVERY_MS));
    }
  }

  async look() {
    const { videoWidth, videoHeight } = this.video;
    if (!videoWidth) return "";
    const share = Math.min(1, SIDE_PX / Math.min(videoWidth, videoHeight));
    const [width, height] = [videoWidth, videoHeight].map((side) => Math.round(side * share));
    Object.assign(this.canvas, { width, height });
    const pen = this.canvas.getContext("2d", { willReadFrequently: true });
    pen.drawImage(this.video, 0, 0, width, height);
    if (this.detector) return (await this.detector.detect(this.canvas))[0]?.rawValue ?? "";
    return decodeQR(pen.getImageData(0, 0, width, height));
  }
}

function release(stream) {
  for (const track of stream?.getTracks() ?? []) track.stop();
  return null;
}

async function ownReader() {
  try {
    const formats = await window.BarcodeDetector.getSupportedFormats();
    return formats.includes("qr_code") ? new window.BarcodeDetector({ formats: ["qr_code"] }) : null;
  } catch {
    return null;
  }
}
