"""The frame table on disk, and what is looked up in it.

A recording's frame table lists when each picture is shown, in ticks of 1/90000 s from the first
one. It is kept for as long as its recording's row: what people placed on frames hangs on it.
"""

from __future__ import annotations

import os
import zlib
from pathlib import Path

import numpy as np

from clinics.media.errors import Damaged
from clinics.media.ticks import Int64

MAGIC = b"SLFT\x01"
_MAX_FRAMES = 20_000_000


def save_frame_table(path: Path, frame_pts: Int64, key_frames: Int64 | None = None) -> int:
    """Write the table (and the indices of key frames) to ``path``; its size in bytes.

    Differences of differences are nearly all equal, so that an hour of 59.94 pictures a second
    takes some tens of kilobytes. Written under another name first, then renamed.
    """
    pts = np.asarray(frame_pts, dtype=np.int64)
    if len(pts) == 0 or pts[0] != 0 or np.any(np.diff(pts) <= 0):
        raise ValueError("a frame table begins with 0 and rises strictly")
    keys = np.asarray([] if key_frames is None else key_frames, dtype=np.int64)
    if len(keys) and (np.any(np.diff(keys) <= 0) or keys[0] < 0 or keys[-1] >= len(pts)):
        raise ValueError("key frames are rising indices into the frame table")
    sizes = np.array([len(pts), len(keys)], dtype="<i8").tobytes()
    body = np.diff(pts, prepend=0).astype("<i8").tobytes() + _steps(keys)
    packed = MAGIC + zlib.compress(sizes + body, 9)
    partial = path.with_name(path.name + ".part")
    with partial.open("wb") as handle:
        handle.write(packed)
        handle.flush()
        os.fsync(handle.fileno())
    partial.replace(path)
    return len(packed)


def load_frame_table(path: Path) -> Int64:
    """Times of all pictures: int64 [frames], ticks of 1/90000 s, strictly rising from 0."""
    return _load(path)[0]


def load_key_frames(path: Path) -> Int64:
    """Indices of the pictures that begin a group which decodes by itself; may be empty."""
    return _load(path)[1]


def _steps(values: Int64) -> bytes:
    return np.diff(values, prepend=0).astype("<i8").tobytes()


def _load(path: Path) -> tuple[Int64, Int64]:
    packed = path.read_bytes()
    try:
        if not packed.startswith(MAGIC):
            raise ValueError("not a frame table")
        plain = zlib.decompressobj().decompress(packed[len(MAGIC) :], 16 * _MAX_FRAMES)
        frames, keys = (int(n) for n in np.frombuffer(plain[:16], dtype="<i8"))
        steps = np.frombuffer(plain[16:], dtype="<i8")
        if len(steps) != frames + keys:
            raise ValueError("cut short")
    except (ValueError, zlib.error) as error:
        raise Damaged(
            f"The frame table {path.name} is damaged ({error}): index the recording again."
        ) from error
    return np.cumsum(steps[:frames], dtype=np.int64), np.cumsum(steps[frames:], dtype=np.int64)


def frames_between(frame_pts: Int64, in_ticks: int, out_ticks: int) -> tuple[int, int]:
    """First index and number of the pictures with in <= time < out; the number may be 0.

    >>> frames_between(np.array([0, 1500, 3000, 4500]), 1500, 4500)
    (1, 2)
    """
    first = int(np.searchsorted(frame_pts, in_ticks, side="left"))
    end = int(np.searchsorted(frame_pts, out_ticks, side="left"))
    return first, max(0, end - first)
