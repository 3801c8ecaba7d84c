"""Where everything stands in pictures of measures: the geometry, without drawing and words.

Places are shares in percent of a picture's width (from the left) and height (from the top), so
that one drawing fits a phone, a wide screen and paper without script.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from feedback.compute.measuring.notation import Claim, claim
from feedback.compute.measuring.uncertain import Quantity

MOST_TICKS = 6
WITHOUT_SPREAD = 0.05  # of the value: how much the axis shows of what never changes


@dataclass(frozen=True)
class Dot:
    """A value with its ±: `low_y` is the bar's lower end, so the larger share. `place`: which of
    the quantities it is, from 0."""

    place: int
    x: float
    y: float
    low_y: float
    high_y: float


@dataclass(frozen=True)
class Tick:
    y: float
    value: float


@dataclass(frozen=True)
class Chart:
    """`decimals` that the ticks need. `left_out`: places of what is too unsure to be drawn."""

    dots: tuple[Dot, ...]
    ticks: tuple[Tick, ...]
    decimals: int
    left_out: tuple[int, ...]


def chart(quantities: Sequence[Quantity]) -> Chart | None:
    """One place for each in equal steps from left to right; None: none of them can be drawn.

    A number of which nothing may be claimed is not drawn either: its bar would press all others
    into a line.

    >>> drawn = chart([Quantity(10.0), Quantity(12.0)])
    >>> [(dot.x, dot.y) for dot in drawn.dots], [tick.value for tick in drawn.ticks]
    ([(25.0, 100.0), (75.0, 0.0)], [10.0, 10.5, 11.0, 11.5, 12.0])
    """
    drawn = [(n, one) for n, one in enumerate(quantities) if claim(one) is not Claim.TOO_UNSURE]
    if not drawn:
        return None
    spans = [(one.value, one.half_width_95) for _n, one in drawn]
    low, high, step = axis(min(v - h for v, h in spans), max(v + h for v, h in spans))
    count = round((high - low) / step)

    def y(value: float) -> float:
        return round(100 * (high - value) / (high - low), 3)

    dots = tuple(
        Dot(n, middle_of(n, len(quantities)), y(v), y(v - h), y(v + h))
        for (n, _one), (v, h) in zip(drawn, spans, strict=True)
    )
    values = [round(low + n * step, 9) for n in range(count + 1)]
    kept = {dot.place for dot in dots}
    return Chart(
        dots=dots,
        ticks=tuple(Tick(y(value), value) for value in values),
        decimals=max(0, -math.floor(math.log10(step) + 1e-9)),
        left_out=tuple(n for n in range(len(quantities)) if n not in kept),
    )


def axis(low: float, high: float) -> tuple[float, float, float]:
    """From one round number to another, with all of it between them, and the step of the ticks.

    >>> axis(4.43, 5.37), axis(48.0, 48.0), axis(0.0, 0.0)
    ((4.4, 5.4, 0.2), (45.0, 51.0, 1.0), (-1.0, 1.0, 0.5))
    """
    if high <= low:
        spare = abs(low) * WITHOUT_SPREAD or 1.0
        low, high = low - spare, high + spare
    step = step_of(low, high)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return round(first * step, 9), round(last * step, 9), step


def step_of(low: float, high: float) -> float:
    """1, 2 or 5 times a power of ten, so that few enough ticks stand between them.

    >>> step_of(0.0, 6.0), step_of(4.43, 5.37), step_of(0.0, 130.0)
    (1.0, 0.2, 50.0)
    """
    least = (high - low) / MOST_TICKS
    power = 10.0 ** math.floor(math.log10(least) + 1e-9)
    step = next(n * power for n in (1, 2, 5, 10) if n * power >= least * (1 - 1e-9))
    return round(step, 12)


def middle_of(place: int, count: int) -> float:
    """
    >>> middle_of(0, 1), middle_of(3, 4)
    (50.0, 87.5)
    """
    return round(100 * (place + 0.5) / count, 3)


def named_places(count: int, most: int) -> list[int]:
    """Which places have their name below the picture: at even distances, the last one always.

    >>> named_places(3, 3), named_places(40, 3), named_places(7, 1)
    ([0, 1, 2], [11, 25, 39], [6])
    """
    every = math.ceil(count / most)
    return sorted(range(count - 1, -1, -every))


def named_runs(names: Sequence[str], *, apart: float = 30.0) -> list[tuple[float, str]]:
    """Where the name of several points that follow each other and have the same one stands:
    below their middle. Of names that would stand in each other's way the later ones are kept.

    >>> named_runs(["24 Oct", "14 Nov", "14 Nov", "14 Nov"])
    [(12.5, '24 Oct'), (62.5, '14 Nov')]
    >>> [name for _x, name in named_runs(list("abcdefgh"))]
    ['b', 'e', 'h']
    """
    runs: list[tuple[float, str]] = []
    first = 0
    for n in range(1, len(names) + 1):
        if n == len(names) or names[n] != names[first]:
            runs.append((middle_of_run(first, n - 1, len(names)), names[first]))
            first = n
    kept: list[tuple[float, str]] = []
    for x, name in reversed(runs):
        if not kept or kept[-1][0] - x >= apart:
            kept.append((x, name))
    return kept[::-1]


def middle_of_run(first: int, last: int, count: int) -> float:
    return round((middle_of(first, count) + middle_of(last, count)) / 2, 3)


@dataclass(frozen=True)
class Share:
    """A part of a bar; `percent` is its width, too."""

    x: float
    percent: float

    @property
    def middle(self) -> float:
        return round(self.x + self.percent / 2, 3)


def bar(values: Sequence[float]) -> list[Share]:
    """Parts of a whole, one beside the other. ValueError: one is below nothing, or all are.

    >>> [(one.x, one.percent) for one in bar([1.0, 3.0])]
    [(0.0, 25.0), (25.0, 75.0)]
    """
    whole = math.fsum(values)
    if whole <= 0 or min(values) < 0:
        raise ValueError("a bar has parts that are something")
    shares, x = [], 0.0
    for value in values:
        shares.append(Share(round(x, 3), round(100 * value / whole, 3)))
        x += 100 * value / whole
    return shares


def whole_percents(values: Sequence[float]) -> list[int]:
    """Shares in whole percent that add up to 100: rounded down, and what is then missing is given
    to those that lost most. ValueError as `bar`.

    >>> whole_percents([1.0, 1.0, 1.0]), whole_percents([1.12, 6.29, 18.82, 1.17])
    ([34, 33, 33], [4, 23, 69, 4])
    """
    exact = [share.percent for share in bar(values)]
    told = [math.floor(percent) for percent in exact]
    by_loss = sorted(range(len(exact)), key=lambda n: (told[n] - exact[n], n))
    for n in by_loss[: 100 - sum(told)]:
        told[n] += 1
    return told
