"""From a rhythm to a stroke rate: which lag is one cycle, and what else would fit.

In freestyle and backstroke the two arms do the same half a cycle apart: what comes again first is
one arm, and that the other one looks a little different is the evidence for the cycle. In
breaststroke and butterfly everything comes once a cycle (the butterfly's kick twice).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from feedback.compute.rate_read.rhythm import Rhythm

SLOWEST, FASTEST = 15.0, 80.0  # cycles a minute that are looked for
TWO_ARMS = frozenset({"freestyle", "backstroke"})
USUAL, USUAL_TWO_ARMS = (24.0, 66.0), (32.0, 72.0)
"""What is rarely left: between two rates that fit alike, the one in here is meant. Common
practice, no source for the ends."""
SLOW = 28.0
"""With two arms hardly anybody swims slower, drills left aside: between two rates that fit alike,
one below this is not meant. Common practice, no source."""
NEARLY_BEST = 0.72  # of the clearest lag: a shorter one as clear as that comes first
HALF_SHOWS = 0.3  # half a cycle on it looks this much alike, and ...
HALF_DIFFERS = 0.88  # ... not more than this, of what it does a cycle on
DOUBLE_CLEARER = 1.25
LAG_TOLERANCE = 0.12
WEAKEST_MULTIPLE = 0.3
FADES = 0.35  # long lags are seen in fewer pictures: so much less they count at the far end


def is_usual(rate: float, stroke: str) -> bool:
    """Cycles a minute as most people swim them."""
    slowest, fastest = USUAL_TWO_ARMS if stroke in TWO_ARMS else USUAL
    return slowest <= rate <= fastest


def is_swum(rate: float, stroke: str) -> bool:
    """Cycles a minute as some swim them: slowly too."""
    return rate >= SLOW and not is_too_quick(rate, stroke)


def is_too_quick(rate: float, stroke: str) -> bool:
    """Quicker than strokes are: kicks, which come several times a cycle."""
    return rate > (USUAL_TWO_ARMS if stroke in TWO_ARMS else USUAL)[1]


@dataclass(frozen=True)
class Cycle:
    """``rate``: cycles a minute; ``again``: how much alike the picture is a cycle on, 0 to 1;
    ``spread``: how far its multiples say otherwise, as a part of the rate; ``others``: rates that
    fit as well. ``factor``: how many of what comes again first make a cycle."""

    rate: float
    again: float
    spread: float
    others: tuple[float, ...] = ()
    factor: float = 1.0

    @property
    def base_rate(self) -> float:
        """Of what comes again first, one arm maybe: times a minute."""
        return self.rate * self.factor


def again_near(rhythm: Rhythm, rate: float) -> tuple[float, float] | None:
    """The rate and how clear it is of what comes again nearest to `rate`; None: nothing does."""
    near = [
        (abs(60 / lag / rate - 1), 60 / lag, again)
        for lag, again in rhythm.peaks(0.02)
        if abs(60 / lag / rate - 1) < LAG_TOLERANCE
    ]
    return min(near)[1:] if near else None


def cycle_of(rhythm: Rhythm, stroke: str) -> Cycle | None:
    """None: nothing comes again."""
    longest_s = float(rhythm.lag_s[-1]) if len(rhythm.lag_s) else 0.0
    first = _first_clear(rhythm, longest_s, stroke)
    if first is None:
        return None
    lag_s, again = first
    factor, other = _which(rhythm, lag_s, again, stroke)
    rate, spread = _by_multiples(rhythm, lag_s, again)
    others = (rate / other,) if other else ()
    return Cycle(rate / factor, again, spread, others, factor)


def _first_clear(rhythm: Rhythm, longest_s: float, stroke: str) -> tuple[float, float] | None:
    """The shortest lag that is nearly as clear as the clearest."""
    shortest_s = 60 / FASTEST / (2 if stroke != "breaststroke" else 1) * 0.97
    peaks = [
        (lag, again, again * (1 - FADES * lag / longest_s))
        for lag, again in rhythm.peaks()
        if shortest_s <= lag <= 60 / SLOWEST and again > 0
    ]
    if not peaks:
        return None
    best = max(fair for _, _, fair in peaks)
    return next((lag, again) for lag, again, fair in peaks if fair >= NEARLY_BEST * best)


def _which(rhythm: Rhythm, lag_s: float, again: float, stroke: str) -> tuple[float, float | None]:
    """How many of what comes again make a cycle (1 or 2), and how many might as well."""
    rate = 60 / lag_s
    half, double = _near(rhythm, lag_s / 2), _near(rhythm, lag_s * 2)
    doubles = double is not None and double > DOUBLE_CLEARER * again
    if stroke not in TWO_ARMS:
        return (2, None) if rate > FASTEST or (doubles and rate > USUAL[1]) else (1, None)
    if rate > FASTEST:
        return 2, None
    if half is not None and HALF_SHOWS * again < half < HALF_DIFFERS * again:
        return 1, None
    if rate / 2 < SLOWEST:
        return 1, None
    return (2, 1) if rate > USUAL_TWO_ARMS[1] else (1, 2)


def _near(rhythm: Rhythm, lag_s: float) -> float | None:
    """How clear the peak there is; None: there is none, or it is out of reach."""
    near = [a for lag, a in rhythm.peaks(0.03) if abs(lag / lag_s - 1) < LAG_TOLERANCE]
    return max(near) if near else None


def _by_multiples(rhythm: Rhythm, lag_s: float, again: float) -> tuple[float, float]:
    """What comes again after many cycles tells the rate more finely: times a minute, and how far
    the multiples lie apart as a part of it."""
    peaks = rhythm.peaks(0.02)
    per_s, weights = [1 / lag_s], [again]
    count, expected = 2, 2 * lag_s
    while expected <= rhythm.lag_s[-1]:
        near = [(abs(lag - expected), lag, a) for lag, a in peaks]
        off, lag, a = min(near)
        if off <= 0.15 * lag_s and a >= WEAKEST_MULTIPLE * again:
            per_s.append(count / lag)
            weights.append(a * count**2 * (1 - lag / rhythm.span_s))
            expected = lag + lag / count
        else:
            expected += lag_s
        count += 1
    rates, shares = np.array(per_s) * 60, np.array(weights) / sum(weights)
    mean = float((rates * shares).sum())
    spread = float(np.sqrt(((rates - mean) ** 2 * shares).sum())) / mean
    return mean, spread
