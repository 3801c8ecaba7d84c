"""From when to when the swimmer strokes evenly: a clip also shows dives, turns and glides."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from feedback.compute.rate_read.decide import Cycle, again_near, cycle_of, is_usual
from feedback.compute.rate_read.rhythm import PER_S, Even, rhythm_of

WINDOWS_S = (5.0, 8.0)
STEP_S = 0.75
SAME_RATE = 0.08
LEAST_AGAIN = 0.12
PART = 0.6  # of a span, that by itself must tell the same
PARTS = 5
SHORTEST_S = 2.0
RARE_WORTH = 0.3
ENOUGH_CYCLES = 8.0  # more of them make a stretch no better


@dataclass(frozen=True, eq=False)
class Stretch:
    """From ``first`` to before ``end``, in steps of `Even`. ``parts``: rates that parts of it tell
    by themselves, one after the other; a part that tells none is left out."""

    first: int
    end: int
    cycle: Cycle
    parts: tuple[float, ...]
    parts_asked: int

    @property
    def seconds(self) -> float:
        return (self.end - self.first) / PER_S

    @property
    def cycles(self) -> float:
        return self.seconds * self.cycle.rate / 60

    @property
    def clear(self) -> float:
        """How clearly it comes again: what chance makes alike is one over the root of how many
        cycles were seen."""
        return self.cycle.again * float(np.sqrt(self.cycles))

    @property
    def agree(self) -> float:
        """Share of the parts that tell the same."""
        same = [abs(rate / self.cycle.rate - 1) <= SAME_RATE for rate in self.parts]
        return sum(same) / self.parts_asked if self.parts_asked else 0.0

    @property
    def rate(self) -> float:
        """Cycles a minute: of the whole, and of its parts, which unsteady strokes pull about
        differently."""
        return (self.cycle.rate + float(np.mean(self.parts or (self.cycle.rate,)))) / 2

    @property
    def worth(self) -> float:
        """Of two stretches the one to tell from."""
        long = float(np.sqrt(min(self.cycles, ENOUGH_CYCLES)))
        return self.cycle.again * long * (0.3 + self.agree)


def best_stretch(even: Even, stroke: str) -> Stretch | None:
    """None: nothing comes again anywhere."""
    count = len(even.inside)
    spans = {(0, count)}
    for window_s in WINDOWS_S:
        window = int(window_s * PER_S)
        if window < count:
            spans.update(_runs(even, stroke, window))
    found = [_stretch(even, stroke, first, end) for first, end in sorted(spans)]
    told = [one for one in found if one is not None]
    return max(told, key=lambda one: _worth(one, stroke), default=None)


def _worth(one: Stretch, stroke: str) -> float:
    return one.worth if is_usual(one.cycle.rate, stroke) else RARE_WORTH * one.worth


def _runs(even: Even, stroke: str, window: int) -> list[tuple[int, int]]:
    """Where windows one after the other tell about the same rate; the longest two."""
    count, step = len(even.inside), int(STEP_S * PER_S)
    begins = [*range(0, count - window, step), count - window]
    told = [cycle_of(rhythm_of(even.between(b, b + window)), stroke) for b in begins]
    runs: list[list[int]] = []
    for n, cycle in enumerate(told):
        if cycle is None or cycle.again < LEAST_AGAIN:
            continue
        before = told[n - 1] if n else None
        goes_on = before is not None and runs and runs[-1][-1] == n - 1
        if goes_on and before and abs(before.rate / cycle.rate - 1) <= SAME_RATE:
            runs[-1].append(n)
        else:
            runs.append([n])
    longest = sorted(runs, key=len, reverse=True)[:2]
    return [(begins[run[0]], begins[run[-1]] + window) for run in longest]


def _stretch(even: Even, stroke: str, first: int, end: int) -> Stretch | None:
    if (end - first) / PER_S < SHORTEST_S:
        return None
    cycle = cycle_of(rhythm_of(even.between(first, end)), stroke)
    if cycle is None:
        return None
    size = int(PART * (end - first))
    begins = np.linspace(first, end - size, PARTS).astype(int)
    told = [again_near(rhythm_of(even.between(b, b + size)), cycle.base_rate) for b in begins]
    parts = tuple(one[0] / cycle.factor for one in told if one is not None)
    return Stretch(first, end, cycle, parts, PARTS)


def unsteady(stretch: Stretch) -> float:
    """How far apart neighbouring parts say the rate is, as a part of it."""
    if len(stretch.parts) < 2:
        return 0.0
    steps = [abs(a - b) / stretch.cycle.rate for a, b in pairwise(stretch.parts)]
    return float(np.mean(steps))
