"""How much moves in picture at each key frame, and where: from small grey pictures.

Successive key frames are compared with slow light taken off (what is brighter or darker as a
whole, or over a wide area, is no motion) and with what always moves there (ripples, a lane rope)
allowed for, place by place. What is left is counted per upright stripe of the picture.
"""

from __future__ import annotations

import io
import os
import zipfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import scipy
from numpy.typing import NDArray

from clinics.media.errors import Damaged
from clinics.media.ticks import Int64

COLUMNS = 16
SMALL_WIDTH = 160
"""Pictures are brought to about this many pixels across: noise averages out, a swimmer is left."""
WIDE_PX = 15
LEAST_GREY = 3.0
NOISE_TIMES = 4.0
USUAL_TIMES = 3.0
USUAL_MEMORY = 0.05
UNLIKE = 0.35
"""Successive pictures that correlate less than this show another scene: the camera was moved."""
CONTRAST_GREY = 2.0

Luma = NDArray[np.uint8]
Float32 = NDArray[np.float32]


@dataclass(frozen=True)
class MotionProfile:
    """Per key frame, against the key frame before it (the first one has zeros).

    ``frames``: int64 [k], their numbers in the frame table; ``ticks``: int64 [k], their times;
    ``energy``: float32 [k, 16], from left to right the share of each stripe's small pixels that
    changed more than noise and more than they usually do, 0 to 1. All 1: the whole picture is
    another one, so that nothing can be said of what moved in it.
    """

    frames: Int64
    ticks: Int64
    energy: Float32


class MotionReader:
    """Sees the key frames in the order shown (look.KeyFrameReader) and keeps two small ones."""

    def __init__(self) -> None:
        self._numbers: list[int] = []
        self._energy: list[Float32] = []
        self._before: Float32 | None = None
        self._usual: Float32 | None = None

    def look(self, luma: Luma, frame_number: int) -> None:
        small = _without_light(_small(luma))
        self._numbers.append(frame_number)
        if self._before is None or self._before.shape != small.shape:
            self._energy.append(np.zeros(COLUMNS, dtype=np.float32))
            self._usual = np.ones_like(small)
        else:
            self._energy.append(self._moved(self._before, small))
        self._before = small

    def _moved(self, before: Float32, now: Float32) -> Float32:
        power = float(np.vdot(before, before))
        gain = float(np.vdot(before, now)) / power if power > 0 else 1.0
        if _are_unlike(before, now):
            return np.ones(COLUMNS, dtype=np.float32)
        change = np.abs(now - np.float32(np.clip(gain, 0.5, 2.0)) * before)
        noise = 1.4826 * float(np.median(change))
        assert self._usual is not None
        limit = np.maximum(USUAL_TIMES * self._usual, max(NOISE_TIMES * noise, LEAST_GREY))
        moved = change > limit
        # What moves seldom must not become usual: it counts for little more than is known.
        self._usual += USUAL_MEMORY * (np.minimum(change, 2 * self._usual + 1) - self._usual)
        edges = np.linspace(0, moved.shape[1], COLUMNS + 1).astype(int)
        counts = np.add.reduceat(moved.sum(axis=0), edges[:-1])
        return (counts / (np.diff(edges) * moved.shape[0])).astype(np.float32)

    def profile(self, frame_pts: Int64) -> MotionProfile:
        """What was seen so far; ``frame_pts`` is the recording's frame table."""
        numbers = np.asarray(self._numbers, dtype=np.int64)
        energy = np.asarray(self._energy, dtype=np.float32).reshape(-1, COLUMNS)
        return MotionProfile(numbers, np.asarray(frame_pts, dtype=np.int64)[numbers], energy)


def _small(luma: Luma) -> Float32:
    """Mean of blocks, so that about SMALL_WIDTH are left across."""
    factor = max(1, round(luma.shape[1] / SMALL_WIDTH))
    height, width = luma.shape[0] // factor, luma.shape[1] // factor
    whole = luma[: height * factor, : width * factor]
    rows = whole.reshape(height, factor, width * factor).sum(axis=1, dtype=np.uint16)
    blocks = rows.reshape(height, width, factor).sum(axis=2, dtype=np.uint32)
    return blocks.astype(np.float32) / np.float32(factor * factor)


def _without_light(small: Float32) -> Float32:
    return small - scipy.ndimage.uniform_filter(small, WIDE_PX)


def _are_unlike(before: Float32, now: Float32) -> bool:
    """Another scene. Where there is next to nothing to see, nobody can tell."""
    spread = float(np.sqrt(np.vdot(before, before) * np.vdot(now, now))) / before.size
    if spread < CONTRAST_GREY**2:
        return False
    return float(np.vdot(before, now)) / before.size < UNLIKE * spread


def save_motion(path: Path, profile: MotionProfile) -> None:
    """Written under another name first, then renamed: a few hundred kilobytes for an hour."""
    packed = io.BytesIO()
    np.savez_compressed(
        packed, frames=profile.frames, ticks=profile.ticks, energy=profile.energy.astype("<f2")
    )
    partial = path.with_name(path.name + ".part")
    with partial.open("wb") as handle:
        handle.write(packed.getvalue())
        handle.flush()
        os.fsync(handle.fileno())
    partial.replace(path)


def load_motion(path: Path) -> MotionProfile:
    """As it was saved, to three figures. Raises Damaged."""
    try:
        with np.load(path, allow_pickle=False) as kept:
            return MotionProfile(
                kept["frames"].astype(np.int64),
                kept["ticks"].astype(np.int64),
                kept["energy"].astype(np.float32),
            )
    except (ValueError, KeyError, zipfile.BadZipFile, EOFError) as error:
        raise Damaged(
            f"The motion profile {path.name} is damaged: bring the recording in again."
        ) from error
