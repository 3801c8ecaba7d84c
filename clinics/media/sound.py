"""A take's sound as numbers, on the take's own clock: for the envelope, and for aligning."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import ffmpeg
import numpy as np
from numpy.typing import NDArray

from clinics.media.pictures import opened_at
from clinics.media.sandbox import Limits, run_tool
from clinics.media.source import Source
from clinics.media.ticks import TICKS_PER_S

TRACK_RATE_HZ = 8_000
ENVELOPE_STEP_S = 0.01
DECIBELS_PER_STEP = 0.4
FLOOR_DB = -100.0
FULL_SCALE = 32768.0
HARD_COMPENSATION_S = 0.002
"""Sound whose own time stamps say that it is further off than this is put right by silence or by
leaving samples out. ffmpeg's default is 0.1 s: a gap of half a picture would stay in all that
follows it. Containers that count in milliseconds stay below."""

ShouldStop = Callable[[], bool] | None
OnProgress = Callable[[float], None] | None


def sound_of(
    source: Source,
    track: Path,
    *,
    duration_s: float,
    limits: Limits,
    require_sandbox: bool = False,
    on_progress: OnProgress = None,
    should_stop: ShouldStop = None,
) -> NDArray[np.uint8] | None:
    """Write the sound track and return its envelope, from one reading; None without sound.

    The track is all channels mixed to one, int16 little-endian at 8 kHz: sample k is at
    media_s = k / 8000. It may end before the pictures do. The envelope is the level for each
    10 ms from the first picture on, uint8 [n]: 0 is silence (-100 dB or less), each step is
    0.4 dB, 250 is full scale; the level is the root mean square.
    """
    if not source.take.has_audio:
        return None
    per_step = int(TRACK_RATE_HZ * ENVELOPE_STEP_S)
    levels: list[NDArray[np.uint8]] = []
    rest = np.empty(0, dtype=np.int16)
    done_s = 0.0

    with track.open("wb") as writing:

        def take_in(samples: NDArray[np.int16]) -> None:
            nonlocal rest, done_s
            writing.write(samples.tobytes())
            joined = np.concatenate([rest, samples])
            whole = len(joined) // per_step * per_step
            rest = joined[whole:]
            levels.append(_levels(joined[:whole].reshape(-1, per_step)))
            done_s += whole / TRACK_RATE_HZ
            if on_progress is not None:
                on_progress(min(done_s / max(duration_s, 0.01), 1.0))

        _stream_sound(
            source,
            rate_hz=TRACK_RATE_HZ,
            from_s=0.0,
            to_s=duration_s,
            limits=limits,
            require_sandbox=require_sandbox,
            should_stop=should_stop,
            consume=take_in,
        )
    envelope = np.concatenate(levels) if levels else np.empty(0, dtype=np.uint8)
    return envelope if len(envelope) else None


def _levels(blocks: NDArray[np.int16]) -> NDArray[np.uint8]:
    power = np.mean((blocks.astype(np.float64) / FULL_SCALE) ** 2, axis=1)
    decibels = 10 * np.log10(np.maximum(power, 1e-12))
    return np.clip((decibels - FLOOR_DB) / DECIBELS_PER_STEP, 0, 250).astype(np.uint8)


def read_sound(
    source: Source,
    *,
    rate_hz: int,
    from_s: float,
    to_s: float,
    limits: Limits,
    require_sandbox: bool = False,
    should_stop: ShouldStop = None,
) -> NDArray[np.float32]:
    """Mixed to one channel, float32 [n] in -1 to 1; sample k is at media_s = from_s + k / rate_hz.

    Silence stands where the take has no sound. Empty if it has none in the whole span.
    """
    parts: list[NDArray[np.int16]] = []
    _stream_sound(
        source,
        rate_hz=rate_hz,
        from_s=from_s,
        to_s=to_s,
        limits=limits,
        require_sandbox=require_sandbox,
        should_stop=should_stop,
        consume=parts.append,
    )
    whole = np.concatenate(parts) if parts else np.empty(0, dtype=np.int16)
    return whole.astype(np.float32) / np.float32(FULL_SCALE)


def _stream_sound(
    source: Source,
    *,
    rate_hz: int,
    from_s: float,
    to_s: float,
    limits: Limits,
    require_sandbox: bool,
    should_stop: ShouldStop,
    consume: Callable[[NDArray[np.int16]], None],
) -> None:
    """Decode the sound from ``from_s`` on and hand it on in pieces. What cannot be decoded ends it:
    a recording without good sound is still a recording."""
    origin_s = source.origin_ticks / TICKS_PER_S
    start_s, end_s = origin_s + from_s, origin_s + to_s
    early_s = start_s - 2.0 if from_s > 2.0 else None
    sound = (
        opened_at(source, early_s, limits)[str(source.take.first.audio_index)]
        .filter("atrim", start=f"{start_s:.6f}", end=f"{end_s:.6f}")
        .filter("asetpts", f"PTS-({start_s:.6f})/TB")
        .filter(
            "aresample",
            rate_hz,
            first_pts=0,
            min_hard_comp=HARD_COMPENSATION_S,
            **{"async": 1},
        )
    )
    output = ffmpeg.output(sound, "pipe:1", format="s16le", acodec="pcm_s16le", ac=1)
    pieces = _Samples(consume)
    run_tool(
        ["ffmpeg", "-nostdin", "-hide_banner", "-nostats", "-v", "error", *output.compile()[1:]],
        inputs=source.inputs,
        limits=limits,
        require_sandbox=require_sandbox,
        on_stdout=pieces.feed,
        should_stop=should_stop,
    )


class _Samples:
    """Bytes of 16-bit samples, cut where a read ended in the middle of one."""

    def __init__(self, consume: Callable[[NDArray[np.int16]], None]) -> None:
        self.consume = consume
        self.rest = b""

    def feed(self, chunk: bytes) -> None:
        chunk = self.rest + chunk
        whole = len(chunk) // 2 * 2
        self.rest = chunk[whole:]
        self.consume(np.frombuffer(chunk[:whole], dtype="<i2"))
