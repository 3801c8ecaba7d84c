"""Drawn frames into a video file: the way out for pictures that we made ourselves.

Unlike everything else in this package it never reads what a stranger sent: raw frames come from
our own code through a pipe, so there is no demuxer to protect from its input and no sandbox. What
remains of the rules for media tools: an argv list, a wall clock, no shell, nothing half-written.
"""

from __future__ import annotations

import subprocess
import tempfile
import threading
from collections.abc import Iterable, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import ffmpeg

from clinics.media.errors import MediaError
from clinics.media.timed import timed_stream

EncoderOptions = dict[str, str | int]
"""Option names without their dash; `metadata:g:0`, `metadata:g:1`, … for one that repeats."""
ENCODE_WALL_S = 600.0
NICE = 10  # as all media tools: who looks at pages comes first
STDERR_SHOWN_CHARACTERS = 600


class EncodeFailed(MediaError):
    """The encoder did not make the file that was asked for."""

    default_reason_code = "encode-failed"


def encode_raw_frames(
    frames: Iterable[memoryview],
    target: Path,
    *,
    width_px: int,
    height_px: int,
    frames_per_s: Fraction | None = None,
    options: EncoderOptions,
    audio: Path | None = None,
    pts_expression: str | None = None,
    ticks: Sequence[int] | None = None,
    wall_s: float = ENCODE_WALL_S,
) -> None:
    """Encode planar 4:2:0 frames, in order, to ``target`` (a pattern for segmented output).

    ``frames`` yields blocks of width * height * 3 / 2 bytes. Frame k stands at k / frames_per_s;
    for variable frame rate ``pts_expression`` is a `setpts` formula in 1/90000 s, or ``ticks`` are
    the times themselves, one for each frame, in place of a rate.
    ``options`` are the encoder's and container's. Raises EncodeFailed, with the encoder's own last
    words, if it ends badly or overruns ``wall_s``; files that it began are then removed.
    """
    pieces: Iterable[bytes | memoryview] = frames
    if ticks is not None:
        pieces = timed_stream(frames, ticks, width_px=width_px, height_px=height_px)
        source, pts_expression = ffmpeg.input("pipe:0", format="matroska"), "PTS"
    elif frames_per_s is not None:
        source = _raw_input((width_px, height_px), frames_per_s)
    else:
        raise ValueError("frames need a rate, or each its time")
    argv = _argv(target, source, options, audio, pts_expression)
    with tempfile.TemporaryFile() as complaints:
        process = subprocess.Popen(argv, stdin=subprocess.PIPE, stderr=complaints)
        watch = threading.Timer(wall_s, process.kill)
        watch.start()
        try:
            _feed(process, pieces)
            code = process.wait()
        finally:
            watch.cancel()
            if process.poll() is None:
                process.kill()
                process.wait()
        if code != 0:
            _remove_outputs(target)
            complaints.seek(0)
            said = complaints.read().decode(errors="replace")[-STDERR_SHOWN_CHARACTERS:]
            raise EncodeFailed(f"{target.name} could not be encoded (ffmpeg ended {code}): {said}")


def _feed(process: subprocess.Popen[bytes], pieces: Iterable[bytes | memoryview]) -> None:
    """Write all frames. A broken pipe is no error here: the exit code tells the story."""
    assert process.stdin is not None
    try:
        for piece in pieces:
            process.stdin.write(piece)
        process.stdin.close()
    except BrokenPipeError:
        return


def _raw_input(size_px: tuple[int, int], frames_per_s: Fraction) -> Any:
    return ffmpeg.input(
        "pipe:0",
        format="rawvideo",
        pix_fmt="yuv420p",
        s=f"{size_px[0]}x{size_px[1]}",
        framerate=f"{frames_per_s.numerator}/{frames_per_s.denominator}",
    )


def _argv(
    target: Path,
    source: Any,
    options: EncoderOptions,
    audio: Path | None,
    pts_expression: str | None,
) -> list[str]:
    stream = source.video
    timing: EncoderOptions = {"fps_mode": "passthrough"}
    if pts_expression is not None:
        stream = stream.filter("settb", "1/90000").filter("setpts", pts_expression)
        timing |= {"enc_time_base": "1/90000"}
    streams = [stream] if audio is None else [stream, ffmpeg.input(str(audio)).audio]
    output = ffmpeg.output(*streams, str(target), **{**timing, **options})
    output = output.global_args("-hide_banner", "-loglevel", "error")
    argv: list[str] = output.overwrite_output().compile()
    return ["nice", "-n", str(NICE), *argv]


def _remove_outputs(target: Path) -> None:
    """Remove what was begun: the file itself, or every segment of its pattern."""
    if "%" not in target.name:
        target.unlink(missing_ok=True)
        return
    prefix, suffix = target.name.split("%", 1)[0], target.suffix
    for path in target.parent.glob(f"{prefix}*{suffix}"):
        path.unlink()
