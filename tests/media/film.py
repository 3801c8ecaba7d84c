"""Films of a few seconds whose every picture carries its own number, and how to read them back.

The number is painted as Gray code: from one picture to the next a single bit changes, so that no
cell blinks. A cell that alternates from field to field is a comb, and every deinterlacer takes a
comb that stands still for a picture at rest: the numbers would be unreadable, and rightly so.
"""

from __future__ import annotations

import subprocess
from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from clinics.management.demo.painted import paint, read

Luma = NDArray[np.uint8]


def code_of(number: int) -> int:
    """What is painted: the number as Gray code, then the same with every bit turned over.

    So every nibble has its opposite, and the painted checksum never changes (nor blinks).
    """
    gray = number ^ number >> 1
    return gray << 16 | (~gray & 0xFFFF)


def number_of(code: int | None) -> int | None:
    """The number behind a painted code, or None if its two halves do not belong together."""
    if code is None or (code >> 16) ^ (code & 0xFFFF) != 0xFFFF:
        return None
    number, gray = 0, code >> 16
    while gray:
        number ^= gray
        gray >>= 1
    return number


def pictures(
    count: int, width: int, height: int, *, first: int = 0, turned: int = 0
) -> Iterator[Luma]:
    """Numbered pictures with some motion in them; ``turned`` quarter turns counterclockwise."""
    ramp = (np.add.outer(np.arange(height), np.arange(width)) % 200 + 20).astype(np.uint8)
    for number in range(first, first + count):
        picture = np.roll(ramp, number % width, axis=1)
        paint(picture, code_of(number))
        yield np.ascontiguousarray(np.rot90(picture, turned)) if turned else picture


def make_film(
    path: Path,
    *,
    count: int,
    size: tuple[int, int] = (640, 360),
    fps: Fraction | int = 30,
    video: Sequence[str],
    sound: Sequence[str] = (),
    filters: str | None = None,
    muxer: Sequence[str] = (),
    first: int = 0,
    turned: int = 0,
    sound_s: float | None = None,
    beep_at_s: float = 0.5,
) -> Path:
    """Encode ``count`` numbered pictures (before ``filters``) to ``path``.

    The sound, if any, is silent but for a tone of 1 kHz from ``beep_at_s`` on, for 0.1 s.
    """
    width, height = size
    shown = (height, width) if turned % 2 else (width, height)
    length_s = float(count / Fraction(fps)) if sound_s is None else sound_s
    argv = ["ffmpeg", "-v", "error", "-y", "-f", "rawvideo", "-pix_fmt", "gray"]
    argv += ["-s", f"{width}x{height}", "-r", str(Fraction(fps)), "-i", "pipe:0"]
    if sound:
        tone = f"0.5*sin(2*PI*1000*t)*between(t,{beep_at_s},{beep_at_s + 0.1})"
        argv += ["-f", "lavfi", "-i", f"aevalsrc='{tone}':s=48000:d={length_s}"]
    argv += ["-map", "0:v", *(["-map", "1:a"] if sound else [])]
    argv += ["-vf", ",".join(filter(None, [filters, "format=yuv420p"]))]
    argv += [*video, *sound, *muxer, str(path)]
    process = subprocess.Popen(argv, stdin=subprocess.PIPE, stderr=subprocess.PIPE)
    assert process.stdin is not None and process.stderr is not None
    for picture in pictures(count, *shown, first=first, turned=turned):
        process.stdin.write(picture.tobytes())
    process.stdin.close()
    said = process.stderr.read()
    process.stderr.close()
    assert process.wait() == 0, said
    return path


def decoded(path: Path, *options: str) -> Iterator[Luma]:
    """The pictures of a file as plain ffmpeg decodes them: brightness, uint8 [h, w]."""
    width, height = picture_size(path)
    argv = ["ffmpeg", "-v", "error", "-noautorotate", *options, "-i", str(path), "-map", "0:v:0"]
    argv += ["-fps_mode", "passthrough", "-f", "rawvideo", "-pix_fmt", "gray", "-"]
    with subprocess.Popen(argv, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        while len(raw := process.stdout.read(width * height)) == width * height:
            yield np.frombuffer(raw, dtype=np.uint8).reshape(height, width)
    assert process.returncode == 0


def numbers_in(path: Path, turn: Callable[[Luma], Luma] = lambda luma: luma) -> list[int | None]:
    """The number that each picture of a file carries; None where it cannot be read."""
    return [number_of(read(turn(luma))) for luma in decoded(path)]


def picture_size(path: Path) -> tuple[int, int]:
    width, height = ffprobe(path, "-select_streams", "v:0", "-show_entries", "stream=width,height")[
        0
    ]
    return int(width), int(height)


def ffprobe(path: Path, *options: str) -> list[list[str]]:
    """ffprobe's own words as rows: the outside witness for facts of a file."""
    argv = ["ffprobe", "-v", "error", *options, "-of", "csv=p=0", str(path)]
    said = subprocess.run(argv, capture_output=True, text=True, check=True).stdout
    return [line.strip(",").split(",") for line in said.splitlines() if line.strip()]


def frame_times(path: Path) -> list[float]:
    """Seconds of each decoded frame, by ffprobe."""
    rows = ffprobe(
        path, "-select_streams", "v:0", "-show_entries", "frame=best_effort_timestamp_time"
    )
    return [float(row[0]) for row in rows if row[0] != "N/A"]


def split_at(path: Path, shares: Sequence[float], packet_bytes: int = 188) -> list[Path]:
    """Cut a transport stream between packets at these shares of its length, as cameras do."""
    data = path.read_bytes()
    packets = len(data) // packet_bytes
    ends = [0, *(int(packets * share) * packet_bytes for share in shares), len(data)]
    parts = []
    for number, (begin, end) in enumerate(zip(ends, ends[1:], strict=False), start=1):
        part = path.with_name(f"{path.stem}_{number:03d}{path.suffix}")
        part.write_bytes(data[begin:end])
        parts.append(part)
    return parts
