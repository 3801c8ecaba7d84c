"""The time painted into every demo frame, and how to read it back.

A rendered clip must show exactly the frames that were planned. Time stamps in a file only say what
the program that wrote it believed; a picture that carries its own instant cannot be wrong about
which picture it is. So each demo frame wears a row of forty square cells along its top edge: four
of synchronisation, thirty-two of an unsigned integer (most significant first), four of checksum.
The integer is the true clinic time of the frame in units of 0.1 ms since the demo's truth epoch.

>>> frame = np.full((360, 640), 90, dtype=np.uint8)
>>> paint(frame, 1_234_567)
>>> read(frame)
1234567
>>> read(np.full((360, 640), 90, dtype=np.uint8)) is None
True
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

CELLS = 40
SYNC_BITS = (1, 0, 1, 0)
VALUE_BITS = 32
WHITE = 235
BLACK = 16
MID_LEVEL = (WHITE + BLACK) / 2
UNITS_PER_S = 10_000
"""The painted integer counts tenths of a millisecond."""


def painted_value(seconds: float) -> int:
    """Seconds since the truth epoch as the integer that is painted (rounded to 0.1 ms)."""
    return round(seconds * UNITS_PER_S)


def strip_height_px(width_px: int) -> int:
    """Height of the painted row for a picture this wide: its cells are square."""
    return max(1, round(width_px / CELLS))


def paint(frame: NDArray[np.uint8], value: int) -> None:
    """Paint ``value`` along the top edge of ``frame``, in place.

    ``frame`` is uint8 [h, w] or [h, w, 3], at least 40 pixels wide. Raises ValueError for a value
    that 32 bits do not hold or a picture too small to carry the row.
    """
    height_px, width_px = frame.shape[:2]
    if not 0 <= value < 1 << VALUE_BITS:
        raise ValueError(f"painted value {value} does not fit {VALUE_BITS} unsigned bits")
    if width_px < CELLS or height_px < strip_height_px(width_px):
        raise ValueError(f"a picture of {width_px}x{height_px} cannot carry {CELLS} square cells")
    levels = np.where(_bits_of(value), WHITE, BLACK).astype(np.uint8)
    row = levels[np.arange(width_px) * CELLS // width_px]
    strip = frame[: strip_height_px(width_px)]
    strip[...] = row if frame.ndim == 2 else row[:, None]


def read(luma: NDArray[np.uint8]) -> int | None:
    """The value painted in a brightness picture uint8 [h, w] of any size, or None.

    The geometry follows from the width, so scaled renditions read alike. Only the middle half of
    each cell counts, because scaling and compression soften its edges. None means that there is no
    painted row here or that it is damaged (synchronisation or checksum off); it is never a guess.
    """
    height_px, width_px = luma.shape
    cell_px = width_px / CELLS
    if cell_px < 2 or height_px < cell_px:
        return None
    top, bottom = _middle_px(0, cell_px)
    rows = luma[top:bottom].mean(axis=0)
    levels = [rows[slice(*_middle_px(cell, cell_px))].mean() for cell in range(CELLS)]
    bits = [int(level > MID_LEVEL) for level in levels]
    if tuple(bits[:4]) != SYNC_BITS:
        return None
    value = _integer_of(bits[4 : 4 + VALUE_BITS])
    return value if _integer_of(bits[4 + VALUE_BITS :]) == _checksum(value) else None


def _middle_px(cell: int, cell_px: float) -> tuple[int, int]:
    """First and end pixel of the middle half of a cell: at least one pixel."""
    first = int(np.floor((cell + 0.25) * cell_px + 0.5))
    end = int(np.floor((cell + 0.75) * cell_px + 0.5))
    return first, max(end, first + 1)


def _bits_of(value: int) -> list[int]:
    value_bits = [value >> shift & 1 for shift in range(VALUE_BITS - 1, -1, -1)]
    checksum = _checksum(value)
    return [*SYNC_BITS, *value_bits, *(checksum >> shift & 1 for shift in (3, 2, 1, 0))]


def _checksum(value: int) -> int:
    """Sum of the eight nibbles, modulo sixteen."""
    return sum(value >> shift & 0xF for shift in range(0, VALUE_BITS, 4)) % 16


def _integer_of(bits: list[int]) -> int:
    result = 0
    for bit in bits:
        result = result << 1 | bit
    return result
