"""A number and what it rests on, so that what is shared between two numbers counts once.

A `Quantity` is its value and, for each independent `Source` of error, how much the value changes
when that source is off by one unit. Adding, multiplying and dividing are of first order (GUM,
JCGM 100:2008, 5.1.2); errors that two quantities share are the same `Source`, so their
correlation needs no figure (GUM F.1.2). Half a frame interval either way is rectangular (GUM
4.3.7), so a difference of two frames is triangular and no bell: `half_width_95` takes the shape
as it is, as GUM Supplement 1 (JCGM 101:2008, 5.3.3) does by drawing.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import lru_cache

COVERED = 0.95
Z_95 = 1.959964  # 95 % of a normal distribution lie within so many standard deviations
_SQRT_2, _SQRT_2PI = math.sqrt(2), math.sqrt(2 * math.pi)
_NEARLY_NOTHING = 1e-6  # of the widest part: a bell so narrow is taken with this width
NARROW = 0.02  # of the bell: what is narrower adds 1/7500 to its variance at most
_STEPS = 60  # halvings of an interval until it is found


class Shape(StrEnum):
    BOX = "box"  # anywhere within ± `scale`, and never outside
    BELL = "bell"  # normal, `scale` is its standard deviation


@dataclass(frozen=True)
class Source:
    """One thing that may be off, known by its `key`. `scale` is in the source's own unit."""

    key: str
    shape: Shape
    scale: float

    @property
    def u(self) -> float:
        """Standard uncertainty.

        >>> round(Source("frame", Shape.BOX, 0.010).u, 6)
        0.005774
        """
        return self.scale / math.sqrt(3) if self.shape is Shape.BOX else self.scale


@dataclass(frozen=True)
class Quantity:
    """`value` in some unit; `parts`: by source, change of the value per unit of that source."""

    value: float
    parts: Mapping[Source, float] = field(default_factory=dict)

    def __add__(self, other: Quantity) -> Quantity:
        return Quantity(self.value + other.value, _joined(self, 1.0, other, 1.0))

    def __sub__(self, other: Quantity) -> Quantity:
        return Quantity(self.value - other.value, _joined(self, 1.0, other, -1.0))

    def __mul__(self, other: Quantity) -> Quantity:
        parts = _joined(self, other.value, other, self.value)
        return Quantity(self.value * other.value, parts)

    def __truediv__(self, other: Quantity) -> Quantity:
        """ZeroDivisionError for a quotient by nothing."""
        value = self.value / other.value
        return Quantity(value, _joined(self, 1 / other.value, other, -value / other.value))

    def times(self, factor: float) -> Quantity:
        return Quantity(self.value * factor, {s: c * factor for s, c in self.parts.items()})

    def plus(self, constant: float) -> Quantity:
        return Quantity(self.value + constant, self.parts)

    @property
    def u(self) -> float:
        """Combined standard uncertainty (GUM 5.1.2)."""
        return math.sqrt(math.fsum((c * source.u) ** 2 for source, c in self.parts.items()))

    @property
    def half_width_95(self) -> float:
        """The value ± this covers in 95 of 100 cases, with the shapes as they are.

        >>> frame = [Source(f"frame {n}", Shape.BOX, 0.010) for n in (1, 2)]
        >>> one, two = (Quantity(t, {s: 1.0}) for t, s in zip((1.0, 3.0), frame))
        >>> round((two - one).half_width_95, 6)
        0.015528
        """
        boxes = sorted(
            (abs(c) * s.scale for s, c in self.parts.items() if s.shape is Shape.BOX and c),
            reverse=True,
        )
        bells = [abs(c) * s.scale for s, c in self.parts.items() if s.shape is Shape.BELL]
        return half_width_95(tuple(boxes), math.sqrt(math.fsum(one**2 for one in bells)))

    def is_other_than(self, other: Quantity) -> bool:
        """Whether the difference is more than its own ±: errors that both share drop out."""
        difference = self - other
        return abs(difference.value) > difference.half_width_95


def exact(value: float) -> Quantity:
    """A number that is what it is: a count, a distance by definition."""
    return Quantity(value)


def half_width_95(boxes: tuple[float, ...], bell: float) -> float:
    """95 % of a sum of independent errors lie within ± this. `boxes`: half-widths, widest first;
    `bell`: standard deviation of what is normal among them. Zero for no errors.

    The two widest boxes and the bell are taken exactly; further boxes are added to the bell,
    which their sum comes near (three equal ones: 0.4 % too narrow, the worst case). So are boxes
    that the bell or the widest box drowns, as what rounding leaves of an error that two numbers
    share: their shape shows no more, and small differences would be lost.

    >>> half_width_95((), 1.0), half_width_95((1.0,), 0.0), half_width_95((1.0, 1.0), 0.0)
    (1.959964, 0.95, 1.552786)
    """
    drowned = NARROW * max([bell, *(_NEARLY_NOTHING * one for one in boxes)])
    wide = [one for one in boxes if one > drowned]
    narrow = [one for one in boxes if one <= drowned]
    rest = math.fsum(one**2 / 3 for one in (*wide[2:], *narrow))
    return round(_found(tuple(wide[:2]), math.sqrt(bell**2 + rest)), 6 + _digits(wide, bell))


def _digits(boxes: list[float], bell: float) -> int:
    """So many further decimals as the widest part begins behind the point."""
    widest = max([*boxes, bell, 0.0])
    return max(0, -math.floor(math.log10(widest))) if widest > 0 else 0


@lru_cache(maxsize=4096)
def _found(boxes: tuple[float, ...], bell: float) -> float:
    widest = max([*boxes, bell])
    if widest == 0:
        return 0.0
    bell = max(bell, _NEARLY_NOTHING * widest)
    low, high = 0.0, sum(boxes) + 6 * bell
    for _ in range(_STEPS):
        middle = (low + high) / 2
        if _within(middle, boxes, bell) < COVERED:
            low = middle
        else:
            high = middle
    return high


def _within(q: float, boxes: tuple[float, ...], bell: float) -> float:
    """The share of errors within ± q: the normal distribution's integral, averaged over the
    width of each box."""
    if not boxes:
        return math.erf(q / bell / _SQRT_2)
    if len(boxes) == 1:
        a = boxes[0] / bell
        z = q / bell
        return (_once(z + a) - _once(z - a)) / a - 1
    a, b = boxes[0] / bell, boxes[1] / bell
    z = q / bell
    inner = _twice(z + a + b) - _twice(z + a - b) - _twice(z - a + b) + _twice(z - a - b)
    return inner / (2 * a * b) - 1


def _cdf(z: float) -> float:
    return math.erfc(-z / _SQRT_2) / 2


def _density(z: float) -> float:
    return math.exp(-z * z / 2) / _SQRT_2PI


def _once(z: float) -> float:
    """The integral of the normal distribution function up to z."""
    return z * _cdf(z) + _density(z)


def _twice(z: float) -> float:
    """The integral of that."""
    return ((z * z + 1) * _cdf(z) + z * _density(z)) / 2


def _joined(one: Quantity, by: float, other: Quantity, by_other: float) -> dict[Source, float]:
    parts = {source: c * by for source, c in one.parts.items()}
    for source, c in other.parts.items():
        parts[source] = parts.get(source, 0.0) + c * by_other
    return parts
