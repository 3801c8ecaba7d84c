// A rising tone at each whole second of the server's clock, for cameras that hear.

const AHEAD_MS = 1500;
const REPORTED_U_MS = 10;
const UNKNOWN_U_MS = 80; // a phone that does not say how late its loudspeaker is

export class Tone {
  constructor(shape, clock) {
    this.shape = shape;
    this.clock = clock;
    this.audio = null;
    this.on = true;
    this.next = 0;
    this.playing = new Set();
  }

  // Sound needs a gesture: call this from one.
  start() {
    const Audio = window.AudioContext ?? window.webkitAudioContext;
    if (!Audio) return;
    this.audio ??= new Audio({ latencyHint: "interactive" });
    this.audio.resume();
    this.sound ??= this.make();
    this.next = 0;
  }

  make() {
    const { fromHz, toHz, lengthS, fadeS } = this.shape;
    const rate = this.audio.sampleRate;
    const buffer = this.audio.createBuffer(1, Math.round(lengthS * rate), rate);
    const samples = buffer.getChannelData(0);
    for (let n = 0; n < samples.length; n += 1) {
      const t = n / rate;
      const turns = fromHz * t + ((toHz - fromHz) * t * t) / (2 * lengthS);
      const edge = Math.min(1, Math.min(t, lengthS - t) / fadeS);
      const fade = Math.sin((Math.PI / 2) * Math.max(0, edge)) ** 2;
      samples[n] = 0.9 * fade * Math.sin(2 * Math.PI * turns);
    }
    return buffer;
  }

  latencyMs() {
    return 1000 * (this.audio?.outputLatency || this.audio?.baseLatency || 0);
  }

  // Within what its instant is known, by itself; null: none is played. Steps, so that a latency
  // that trembles does not ask for new codes all the time.
  uMs() {
    if (!this.on || this.audio?.state !== "running") return null;
    const reported = this.audio.outputLatency > 0;
    const uMs = reported ? this.latencyMs() + REPORTED_U_MS : UNKNOWN_U_MS;
    return Math.min(170, 20 * Math.ceil(uMs / 20));
  }

  // Call it some times a second: what falls into the next moment is put on the audio clock.
  schedule() {
    if (this.uMs() === null || !this.clock.isKnown()) return;
    const now = performance.now();
    const every = 1000 * this.shape.everyS;
    const soonest = this.clock.at(now) + this.latencyMs() + 30;
    let second = Math.max(Math.ceil(soonest / every), this.next);
    for (; second * every < this.clock.at(now) + AHEAD_MS; second += 1) {
      const inMs = second * every - this.clock.at(now) - this.latencyMs();
      const source = this.audio.createBufferSource();
      source.buffer = this.sound;
      source.connect(this.audio.destination);
      source.onended = () => this.playing.delete(source);
      source.start(this.audio.currentTime + inMs / 1000);
      this.playing.add(source);
      this.next = second + 1;
    }
  }

  stop() {
    for (const source of this.playing) source.stop();
    this.playing.clear();
    this.next = 0;
    this.audio?.suspend();
  }
}
