"""The middle of a group and its middle half, rounded so far that it tells little of anyone.

From five people on, the sample quartiles of definition 7 of Hyndman and Fan 1996 (The American
Statistician 50:361; from memory) lie between the second and the last but one of the ordered
values: the lowest and the highest enter no figure. With five people each of the three figures is
near to one person's value, so they are rounded: to what the ± of a value allows, and to a fifth
of the middle half at the finest. Figures that were rounded change less when one person comes or
goes, too.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import reduce
from statistics import median, quantiles

from feedback.compute.measuring.notation import FINEST, Claim, claim
from feedback.compute.measuring.uncertain import Quantity

LEAST = 5  # people; below, extremes would enter the quartiles
PARTS_OF_MIDDLE_HALF = 5  # rounded figures divide it into no more


@dataclass(frozen=True)
class Spread:
    """In the measure's unit, each a multiple of `step`; `low` <= `middle` <= `high`. Half of the
    group lies between `low` and `high`. `decimals` that the step needs."""

    low: float
    middle: float
    high: float
    step: float

    @property
    def decimals(self) -> int:
        return max(0, -math.floor(math.log10(self.step) + 1e-9))


class Side(StrEnum):
    """Where a value is against the middle half."""

    BELOW = "below"
    WITHIN = "within"
    ABOVE = "above"
    OPEN = "open"  # its ± and the rounding do not say on which side of an end


def of_one_person(goes: Sequence[Quantity]) -> Quantity | None:
    """The mean over the goes of which a number may be claimed; None: there is none.

    The mean, and not the best go: whoever swims oftener would have the better chance of one.

    >>> of_one_person([Quantity(4.0), Quantity(5.0)]).value
    4.5
    """
    said = [one for one in goes if claim(one) is not Claim.TOO_UNSURE]
    if not said:
        return None
    return reduce(lambda one, other: one + other, said).times(1 / len(said))


def spread(values: Sequence[Quantity]) -> Spread | None:
    """`values`: one for each person. None: there are fewer than `LEAST`.

    >>> spread([Quantity(one) for one in (7.0, 7.31, 7.6, 8.12, 20.0)])
    Spread(low=7.4, middle=7.6, high=8.2, step=0.2)
    >>> spread([Quantity(7.0)] * 4)
    """
    if len(values) < LEAST:
        return None
    low, middle, high = quantiles([one.value for one in values], n=4, method="inclusive")
    step = step_of([one.half_width_95 for one in values], high - low)
    return Spread(_rounded(low, step), _rounded(middle, step), _rounded(high, step), step)


def step_of(half_widths: Sequence[float], middle_half: float) -> float:
    """1, 2 or 5 times a power of ten: at least the usual ±, and at least a fifth of the middle
    half.

    >>> step_of([0.02, 0.03, 0.04], 0.08), step_of([0.01], 1.0), step_of([0.0], 0.0)
    (0.05, 0.2, 0.001)
    """
    least = max(median(half_widths), middle_half / PARTS_OF_MIDDLE_HALF, 10.0**-FINEST)
    power = 10.0 ** math.floor(math.log10(least) + 1e-9)
    return round(next(n * power for n in (1, 2, 5, 10) if n * power >= least * (1 - 1e-9)), 12)


def _rounded(value: float, step: float) -> float:
    return round(round(value / step) * step, 12) + 0.0  # nothing has no minus


def side(value: Quantity, of: Spread) -> Side:
    """Against the middle half, whose ends may be off by half a step from the rounding.

    >>> ends = Spread(7.0, 7.4, 8.0, 0.2)
    >>> [side(Quantity(one), ends).value for one in (6.8, 7.05, 7.5, 9.0)]
    ['below', 'open', 'within', 'above']
    """
    least, most = value.value - value.half_width_95, value.value + value.half_width_95
    half = of.step / 2
    if most < of.low - half:
        return Side.BELOW
    if least > of.high + half:
        return Side.ABOVE
    within = of.low + half <= least and most <= of.high - half
    return Side.WITHIN if within else Side.OPEN
