"""How a number with its ± is written, in one way everywhere, and when it is too unsure for a claim.

The ± is that of 95 of 100 cases, with one significant figure, two if the first is a 1 or a 2
(GUM 7.2.6 asks for at most two), rounded up; the value ends at the same place.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from feedback.compute.measuring.uncertain import Quantity

FINEST = 3  # decimals; a frame is 0.004 s at best
GOOD_SHARE, ROUGH_SHARE = 0.05, 0.25  # of the value: our choice
_TWO_FIGURES_BELOW = 3


class Claim(StrEnum):
    """What may be said with a number."""

    GOOD = "good"
    ROUGH = "rough"  # "about"
    TOO_UNSURE = "too-unsure"  # said in words, with no figure to quote


@dataclass(frozen=True)
class Written:
    """`value` and `half_width` to the same number of `decimals` (0: whole numbers, and tens
    where `half_width` is that wide)."""

    value: float
    half_width: float
    decimals: int


def written(quantity: Quantity, *, finest: int = FINEST) -> Written:
    """
    >>> from feedback.compute.measuring.uncertain import Quantity, Shape, Source
    >>> written(Quantity(9.8234, {Source("d", Shape.BELL, 0.06): 1.0}))
    Written(value=9.82, half_width=0.12, decimals=2)
    >>> written(Quantity(5.0, {}))
    Written(value=5.0, half_width=0.0, decimals=3)

    Nothing is never written with a minus.
    """
    half = quantity.half_width_95
    if half <= 0:
        return Written(round(quantity.value, finest) + 0.0, 0.0, finest)
    power = math.floor(math.log10(half))
    figures = 2 if half / 10.0**power < _TWO_FIGURES_BELOW else 1
    decimals = min(finest, figures - 1 - power)
    up = math.ceil(half * 10.0**decimals - 1e-9) / 10.0**decimals
    shown = max(decimals, 0)
    return Written(round(quantity.value, decimals) + 0.0, round(up, shown), shown)


def claim(quantity: Quantity) -> Claim:
    """Against the size of the value; a count is what it is.

    >>> claim(Quantity(50.0)).value
    'good'
    """
    half, size = quantity.half_width_95, abs(quantity.value)
    if half <= GOOD_SHARE * size or half == 0:
        return Claim.GOOD
    return Claim.ROUGH if half <= ROUGH_SHARE * size else Claim.TOO_UNSURE
