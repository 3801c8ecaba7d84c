"""Numbers that have to agree with each other, and by how much they do not.

For what is typed in, taken from elsewhere, or marked by hand: a rate, a length and a speed that
do not go together say that one of them is wrong, not which.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

TOLERANCE = 0.02
"""Rates and lengths are printed to two or three figures: their product is good to about this."""
SUM_TOLERANCE = 0.005
PER_MIN = 60.0


@dataclass(frozen=True)
class Agreement:
    """`off`: how far the left side is from the right one, as a share of the right one, positive:
    the left is larger. `agrees`: within the tolerance."""

    off: float
    agrees: bool


def _agreement(left: float, right: float, tolerance: float) -> Agreement:
    if not (math.isfinite(left) and math.isfinite(right) and right > 0):
        raise ValueError("both sides must be numbers, and the right one above 0")
    off = left / right - 1
    return Agreement(off, abs(off) <= tolerance)


def rate_times_length(
    rate_per_min: float, length_m: float, speed_m_per_s: float, *, tolerance: float = TOLERANCE
) -> Agreement:
    """v = SR * SL (Craig and Pendergast 1979), SR in cycles a minute, SL in metres a cycle.

    >>> rate_times_length(50, 2.0, 1.667).agrees
    True
    >>> rate_times_length(50, 2.0, 2.0).agrees
    False
    """
    return _agreement(rate_per_min / PER_MIN * length_m, speed_m_per_s, tolerance)


def parts_of_whole(
    parts: Sequence[float], whole: float, *, tolerance: float = SUM_TOLERANCE
) -> Agreement:
    """Parts of a time, or shares of 100 %, against the whole.

    >>> parts_of_whole([11.39, 44.30, 38.93, 5.36], 100.0).agrees
    True
    """
    return _agreement(math.fsum(parts), whole, tolerance)


def gap(one: float, other: float, told: float, *, digits: int = 2) -> Agreement:
    """A difference as printed against the difference of what is printed beside it.

    >>> gap(25.31, 24.60, 0.91).agrees, gap(25.04, 22.85, 2.19).agrees
    (False, True)
    """
    difference = abs(one - other)
    agrees = abs(difference - abs(told)) <= 10.0**-digits + 1e-9
    return Agreement(abs(told) / difference - 1 if difference else math.inf, agrees)
