"""Where everything stands in pictures of several measures below each other, each on a scale of
its own: the geometry, without drawing and words. Places are shares in percent of the width."""

from __future__ import annotations

from dataclasses import dataclass

from feedback.compute.measuring.notation import Claim, claim
from feedback.compute.measuring.spread import Spread
from feedback.compute.measuring.uncertain import Quantity

SPARE = 0.15  # of what is to be seen, at either side
MOST_APART = 4.0  # half-widths that fit on either side of no difference


@dataclass(frozen=True)
class AmongRow:
    """The band from `low_x` to `high_x`, its middle, and a value with its ± as a bar."""

    low_x: float
    middle_x: float
    high_x: float
    x: float
    from_x: float
    to_x: float

    @property
    def width(self) -> float:
        return round(self.high_x - self.low_x, 3)


def among(value: Quantity, spread: Spread) -> AmongRow | None:
    """None: nothing may be claimed of the value. Larger values stand farther to the right.

    A band of which both ends are rounded to one figure is as wide as the rounding: there is no
    knowing where in it they were.

    >>> row = among(Quantity(7.0), Spread(7.0, 7.4, 8.0, 0.2))
    >>> row.x == row.low_x, row.low_x, row.high_x
    (True, 11.538, 88.462)
    """
    if claim(value) is Claim.TOO_UNSURE:
        return None
    low, high = spread.low, spread.high
    if low == high:
        low, high = low - spread.step / 2, high + spread.step / 2
    begin = min(low, value.value - value.half_width_95)
    end = max(high, value.value + value.half_width_95)
    spare = SPARE * (end - begin)

    def x(at: float) -> float:
        return round(100 * (at - begin + spare) / (end - begin + 2 * spare), 3)

    half = value.half_width_95
    ends = x(value.value - half), x(value.value + half)
    return AmongRow(x(low), x(spread.middle), x(high), x(value.value), *ends)


@dataclass(frozen=True)
class AgainstRow:
    """A difference in units of its ±. `beyond`: it is larger than fits, drawn at the edge."""

    x: float
    from_x: float
    to_x: float
    differs: bool
    beyond: bool


NO_DIFFERENCE_X = 50.0
UNSURE_FROM_X = NO_DIFFERENCE_X - 50.0 / (MOST_APART + 1)
UNSURE_WIDTH = 100.0 / (MOST_APART + 1)


def against(difference: Quantity) -> AgainstRow | None:
    """More stands to the right. A dot within `UNSURE_WIDTH` from `UNSURE_FROM_X` on is a
    difference within its ±, which cannot be told. None: two counts, without a ± to measure it in.

    >>> from feedback.compute.measuring.uncertain import Shape, Source
    >>> source = Source("clock", Shape.BELL, 0.5 / 1.959964)
    >>> row = against(Quantity(1.0, {source: 1.0}))
    >>> row.x, row.from_x, row.to_x, row.differs, row.beyond
    (70.0, 60.0, 80.0, True, False)
    """
    half = difference.half_width_95
    if half <= 0:
        return None
    apart = difference.value / half
    shown = max(-MOST_APART, min(MOST_APART, apart))
    unit = 50.0 / (MOST_APART + 1)

    def x(at: float) -> float:
        return round(NO_DIFFERENCE_X + at * unit, 3)

    beyond = shown != apart
    return AgainstRow(x(shown), x(shown - 1), x(shown + 1), abs(apart) > 1, beyond)
