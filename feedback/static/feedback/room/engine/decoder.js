// Decodes one group of pictures at a time, for one view.
//
// Decoding in software is preferred: a hardware decoder has few pictures and stalls while they
// are held. Where that cannot be had, or a decoder falls silent, pictures are copied out.

const SILENT_MS = 3000;

const stopped = () => new DOMException("decoding was stopped", "AbortError");

async function softest(config) {
  const soft = { ...config, optimizeForLatency: true, hardwareAcceleration: "prefer-software" };
  const { supported } = await VideoDecoder.isConfigSupported(soft);
  return { config: supported ? soft : { ...config, optimizeForLatency: true }, soft: supported };
}

// `onPicture(frame, picture)`: a VideoFrame or ImageBitmap, which the taker closes.
export async function makeDecoder(wished, onPicture) {
  const { config, soft } = await softest(wished);
  let copies = !soft;
  let decoder = null;
  let run = 0;
  let heard_ms = 0;
  let copying = [];

  async function copyOut(frame, picture, mine) {
    const copy = await createImageBitmap(picture);
    picture.close();
    if (mine === run) onPicture(frame, copy);
    else copy.close();
  }

  function open() {
    const made = new VideoDecoder({
      output(picture) {
        heard_ms = performance.now();
        if (made !== decoder) picture.close();
        else if (copies) copying.push(copyOut(picture.timestamp, picture, run));
        else onPicture(picture.timestamp, picture);
      },
      // Also when the browser takes the decoder back: it is made anew for the next group.
      error() { if (made === decoder) decoder = null; },
    });
    made.configure(config);
    decoder = made;
  }

  // Resolves once all its pictures were handed over; AbortError: by `stop`.
  async function decode(chunks) {
    const mine = (run += 1);
    if (decoder?.state !== "configured") open();
    const own = decoder;
    heard_ms = performance.now();
    copying = [];
    for (const chunk of chunks) own.decode(chunk);
    let silence = null;
    const silent = new Promise((_, fail) => {
      silence = setInterval(() => {
        if (performance.now() - heard_ms < SILENT_MS) return;
        copies = true;
        if (decoder === own) decoder = null;
        if (own.state !== "closed") own.close();
        fail(new Error("the decoder fell silent"));
      }, SILENT_MS / 4);
    });
    try {
      await Promise.race([own.flush(), silent]);
      await Promise.all(copying);
    } catch (error) {
      throw mine === run ? error : stopped();
    } finally {
      clearInterval(silence);
    }
    if (mine !== run) throw stopped();
  }

  return {
    decode,
    stop() {
      run += 1;
      if (decoder?.state !== "configured") return;
      decoder.reset();
      decoder.configure(config);
    },
    close() {
      run += 1;
      if (decoder && decoder.state !== "closed") decoder.close();
      decoder = null;
    },
  };
}
