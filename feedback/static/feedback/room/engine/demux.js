// A film's packets, by frame number. Its pictures are in order (no B-frames), so packet n is
// frame n; the frame list says the same, or the film is not the one that belongs to it.

import { TICKS_PER_S } from "../clock.js";

const TOLERATED_TICKS = 2;

// { config, keyFrames, chunks(first, end) }. A chunk's timestamp is its frame's number: so no
// rounding of microseconds can confuse two frames.
export async function demux(film, ticks) {
  const { CustomSource, EncodedPacketSink, Input, MP4 } = await import(
    "../../../portal/vendor/mediabunny/mediabunny.min.js"
  );
  const source = new CustomSource({
    getSize: film.size,
    read: film.read,
    maxCacheSize: 1 << 20, // the film itself is in memory already
  });
  const track = await new Input({ formats: [MP4], source }).getPrimaryVideoTrack();
  if (!track) throw new Error("film: no pictures");
  const sink = new EncodedPacketSink(track);
  const packets = [];
  for await (const packet of sink.packets(undefined, undefined, { metadataOnly: true }))
    packets.push(packet);
  if (packets.length !== ticks.length) throw new Error("film: other frames than its list");
  const off = (packet, n) => Math.abs(packet.timestamp * TICKS_PER_S - ticks[n]);
  if (packets.some((packet, n) => off(packet, n) > TOLERATED_TICKS))
    throw new Error("film: other times than its list");

  async function chunks(first, end) {
    const read = [];
    let frame = first;
    const from = await sink.getPacket(packets[first].timestamp);
    for await (const { type, data } of sink.packets(from)) {
      read.push(new EncodedVideoChunk({ type, timestamp: frame, data }));
      frame += 1;
      if (frame === end) break;
    }
    return read;
  }

  return {
    config: await track.getDecoderConfig(),
    keyFrames: packets.flatMap(({ type }, n) => (type === "key" ? [n] : [])),
    chunks,
  };
}
