"""Small grey pictures with their times: all that a reading looks at."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Grey = NDArray[np.uint8]
Float32 = NDArray[np.float32]
Float64 = NDArray[np.float64]

WIDTH_PX = 240
"""Pictures are read about this wide: an arm is a few pixels across, and noise averages out."""
MOST_PER_S = 26.0
"""Strokes come at most 1.4 times a second; pictures beyond this tell nothing more."""
LONGEST_S = 90.0


@dataclass(frozen=True, eq=False)
class Film:
    """``grey``: uint8 [n, height, width], in the order shown; ``times_s``: float64 [n], rising,
    need not be even."""

    grey: Grey
    times_s: Float64

    @property
    def size(self) -> tuple[int, int]:
        """Height and width of a picture."""
        return int(self.grey.shape[1]), int(self.grey.shape[2])


@dataclass(frozen=True)
class Box:
    """Where the swimmer is in a picture: left, top, width and height, as parts of the picture's
    width and height, 0 to 1."""

    x: float
    y: float
    width: float
    height: float


def small_size(width: int, height: int) -> tuple[int, int]:
    """Width and height at which pictures of that size are read; both even.

    >>> small_size(1920, 1080)
    (240, 136)
    """
    wide = min(WIDTH_PX, width // 2 * 2)
    return wide, max(2, round(height * wide / width / 2) * 2)


def frames_to_read(times_s: Sequence[float] | Float64) -> NDArray[np.int64]:
    """Which of the pictures are looked at: all, or about MOST_PER_S of them a second, rising.

    >>> len(frames_to_read([n / 25 for n in range(50)]))
    50
    >>> len(frames_to_read([n / 100 for n in range(200)]))
    50
    """
    times = np.asarray(times_s, dtype=np.float64)
    if len(times) < 2:
        return np.arange(len(times))
    step = max(1, int(np.ceil(len(times) / (times[-1] - times[0]) / MOST_PER_S - 0.05)))
    return np.arange(0, len(times), step)


def film_of_pictures(pictures: Iterable[Grey], times_s: Float64) -> Film:
    """Pictures one by one into one array: nothing else is held."""
    grey: Grey | None = None
    count = 0
    for picture in pictures:
        if grey is None:
            grey = np.empty((len(times_s), *picture.shape), dtype=np.uint8)
        grey[count] = picture
        count += 1
    if grey is None or count != len(times_s):
        raise ValueError(f"{len(times_s)} times and {count} pictures")
    return Film(grey, np.asarray(times_s, dtype=np.float64))
