"""Time stamps: the frame table's clock of 1/90000 s, and rounding to it exactly as ffmpeg does."""

from __future__ import annotations

from fractions import Fraction
from typing import overload

import numpy as np
from numpy.typing import NDArray

TICKS_PER_S = 90_000
TICK_BASE = Fraction(1, TICKS_PER_S)

Int64 = NDArray[np.int64]


@overload
def to_ticks(pts: int, time_base: Fraction) -> int: ...
@overload
def to_ticks(pts: Int64, time_base: Fraction) -> Int64: ...
def to_ticks(pts: int | Int64, time_base: Fraction) -> int | Int64:
    """PTS in ``time_base`` as whole ticks, halves rounded away from zero.

    That is what ffmpeg's `settb` filter does (av_rescale_q), so that a planned list of times and
    the list in a rendered file can be compared for equality, not only for closeness.

    >>> to_ticks(1, Fraction(1, 60))
    1500
    >>> to_ticks(np.array([3, -3]), Fraction(1, 180000)).tolist()
    [2, -2]
    """
    factor = time_base * TICKS_PER_S
    num, den = factor.numerator, factor.denominator
    if isinstance(pts, int):
        return (abs(pts) * num + den // 2) // den * (1 if pts >= 0 else -1)
    whole = np.asarray(pts, dtype=np.int64)
    rounded: Int64 = np.sign(whole) * ((np.abs(whole) * num + den // 2) // den)
    return rounded


def pictures_of(frame_pts: Int64, time_base: Fraction, *, interlaced: bool) -> Int64:
    """Times in ticks of all pictures shown for coded frames at ``frame_pts`` (in ``time_base``).

    A frame of two fields is two pictures: the first at its own time, the second halfway to the
    next frame; before a gap (and at the end) half the usual frame duration later, since a missing
    frame does not make the field before it late. int64 [pictures], pictures = frames, or twice as
    many.

    >>> pictures_of(np.array([0, 3003, 6006]), TICK_BASE, interlaced=True).tolist()
    [0, 1502, 3003, 4505, 6006, 7508]
    """
    if not interlaced or len(frame_pts) < 2:
        return to_ticks(np.asarray(frame_pts, dtype=np.int64), time_base)
    usual = usual_spacing(frame_pts)
    halves = np.repeat(2 * frame_pts.astype(np.int64), 2)
    spacing = np.diff(frame_pts)
    within_gap = spacing > GAP_FACTOR * usual
    # The very last second field is placed by the last spacing: that is how the filter sees it.
    halves[1:-1:2] += np.where(within_gap, usual, spacing)
    halves[-1] += usual if within_gap[-1] else spacing[-1]
    return to_ticks(halves, time_base / 2)


GAP_FACTOR = 1.5
"""Frames further apart than this many usual spacings have a gap between them."""


def usual_spacing(frame_pts: Int64) -> int:
    """Median distance between neighbouring frames, in their own unit; at least 1."""
    return max(1, int(np.median(np.diff(frame_pts))))
