"""A line through the offsets of one unbroken piece of a phone's monotonic clock.

    server = monotonic + offset + rate * (monotonic - middle)

Least squares, weights 1 / u², the rate drawn to zero as far as the offsets cannot tell
(`RATE_U`), and never beyond `RATE_LIMIT`. One offset gives rate zero, and says what that costs
away from it.

Many offsets do not make the mean better than they are: how the network's delay divides is the
same wrong for all of them, or it is not, and nothing tells. So the uncertainty of a place on the
line is worked out both for errors that are the same and for errors that have nothing in common,
and the larger one is stated.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from clinics.compute.phone_clock.exchange import RATE_LIMIT, Offset

RATE_U = 25e-6
"""Standard uncertainty of the rate of a clock of which nothing is known: phones are within 50
millionths as a rule (common practice, no source)."""
WANDER = 2e-6
"""By so much a rate changes meanwhile, with the temperature (common practice, no source)."""


@dataclass(frozen=True)
class Line:
    """Maps one piece of a monotonic clock to the server's.

    `rate`: server ms per ms of the phone, minus one; positive: the phone's clock runs slow.
    `middle_ms` on the monotonic clock, `offset_ms` (server minus monotonic) there. `uneven_ms`:
    by how much the line misses the hard bounds of an offset at worst, 0 if it meets all; the
    clock then did not run evenly, and `u_ms` holds that, too.
    """

    middle_ms: float
    offset_ms: float
    rate: float
    uneven_ms: float
    offsets: tuple[Offset, ...]
    weights: tuple[float, ...]
    stiffness: float

    def server_ms(self, monotonic_ms: float) -> float:
        """Server time, ms since 1970."""
        return monotonic_ms + self.offset_ms + self.rate * (monotonic_ms - self.middle_ms)

    def monotonic_ms(self, server_ms: float) -> float:
        """What the phone's clock showed (or will show) at an instant of the server's."""
        aside_ms = (server_ms - self.offset_ms - self.middle_ms) / (1 + self.rate)
        return self.middle_ms + aside_ms

    def u_ms(self, monotonic_ms: float) -> float:
        """Standard uncertainty of `server_ms`; it grows away from the offsets."""
        aside_ms, whole = monotonic_ms - self.middle_ms, sum(self.weights)
        shares = [
            weight / whole + aside_ms * weight * (offset.at_ms - self.middle_ms) / self.stiffness
            for offset, weight in zip(self.offsets, self.weights, strict=True)
        ]
        errors = [s * offset.u_ms for s, offset in zip(shares, self.offsets, strict=True)]
        assumed_ms = aside_ms / RATE_U / self.stiffness
        nearest_ms = min(abs(monotonic_ms - offset.at_ms) for offset in self.offsets)
        fitted_ms = max(abs(sum(errors)), math.hypot(*errors))
        return math.hypot(fitted_ms, assumed_ms, WANDER * nearest_ms, self.uneven_ms)


def fit_line(offsets: Sequence[Offset]) -> Line:
    """The line through at least one offset. Their order changes nothing.

    >>> line = fit_line([Offset(1000, 500_000, 3, 499_990, 500_010, 1)])
    >>> line.server_ms(2000), line.u_ms(1000), round(line.u_ms(601_000))
    (502000.0, 3.0, 15)
    """
    ordered = sorted(offsets, key=lambda one: (one.at_ms, one.offset_ms, one.u_ms))
    weights = [1 / one.u_ms**2 for one in ordered]
    first = ordered[0]
    middle_ms = first.at_ms + _mean([one.at_ms - first.at_ms for one in ordered], weights)
    offset_ms = first.offset_ms + _mean(
        [one.offset_ms - first.offset_ms for one in ordered], weights
    )
    asides_ms = [one.at_ms - middle_ms for one in ordered]
    ups_ms = [one.offset_ms - offset_ms for one in ordered]
    stiffness = 1 / RATE_U**2 + sum(w * x**2 for w, x in zip(weights, asides_ms, strict=True))
    told = sum(w * x * y for w, x, y in zip(weights, asides_ms, ups_ms, strict=True)) / stiffness
    rate = min(max(told, -RATE_LIMIT), RATE_LIMIT)
    missed_ms = [
        max(one.low_ms - offset_ms - rate * x, offset_ms + rate * x - one.high_ms, 0.0)
        for one, x in zip(ordered, asides_ms, strict=True)
    ]
    return Line(
        middle_ms=middle_ms,
        offset_ms=offset_ms,
        rate=rate,
        uneven_ms=max(missed_ms),
        offsets=tuple(ordered),
        weights=tuple(weights),
        stiffness=stiffness,
    )


def _mean(values: Sequence[float], weights: Sequence[float]) -> float:
    return sum(v * w for v, w in zip(values, weights, strict=True)) / sum(weights)
