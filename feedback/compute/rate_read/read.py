"""The stroke rate from the picture: from small grey pictures to a rate with its confidence.

The swimmer's box is followed, cells in it are seen against the pool behind them, and what comes
again evenly is looked for. The limits below were set on the drawn films of
tests/feedback/rate_read, whose truth is imposed; its test_read.py asks whether they still hold.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from feedback.compute.rate_read.cells import cells_along
from feedback.compute.rate_read.decide import TWO_ARMS, is_swum, is_too_quick, is_usual
from feedback.compute.rate_read.film import Box, Film
from feedback.compute.rate_read.follow import Way, follow
from feedback.compute.rate_read.phase import rate_by_phase
from feedback.compute.rate_read.result import Place, Reading, Sure, Why
from feedback.compute.rate_read.rhythm import PER_S, Even, at_even_times
from feedback.compute.rate_read.spans import Stretch, best_stretch, unsteady

LEAST_PICTURES, LEAST_S = 30, 2.5
LEAST_PER_S = 10.0
LEAST_CYCLES, ENOUGH_CYCLES = 3.0, 3.4
FAINT, CLEAR = 0.32, 0.50  # of Cycle.again
BY_CHANCE, BY_CHANCE_TWO_ARMS = 1.0, 0.95
"""Of Stretch.clear: of what was told below it half was wrong."""
AGREE, ALL_AGREE = 0.79, 0.99  # of Stretch.agree
RIVAL, CLEAR_RIVAL = 0.98, 0.80  # of Way.rival; at 0.84 the neighbour had been followed once
WAY_STEP_S = 0.4
SURE_U, SURE_STEP = 0.0165, 0.015  # of the rate: its uncertainty, and how far parts differ
PULL_AND_KICK_CYCLES, PULL_AND_KICK_RATE = 6.0, 48.0
"""Pull and kick of breaststroke may look alike: a quick rate of few cycles may be twice the real
one."""
NOT_TOLD_OF_BREASTSTROKE = {Why.FAINT: Why.NOTHING, Why.UNSTEADY: Why.UNSTEADY}
"""For the same reason: of ten drawn films that were told faintly or unevenly five were wrong, of
the seven others none. The limits were set on these films, too."""
U_SHARE, U_CYCLES, U_STEP = 0.008, 0.060, 0.60
"""Standard uncertainty as a part of the rate: a share of its own, so many cycles at both ends
together, and a share of what neighbouring parts differ by."""


def read_rate(
    film: Film,
    stroke: str,
    box: Box | None = None,
    box_index: int = 0,
    *,
    on_step: Callable[[float], None] = lambda share: None,
) -> Reading:
    """Times in the reading are those of the film. ``stroke``: the portal's name of it;
    ``box_index``: the picture on which `box` was set; ``on_step``: told how far it is, 0 to 1,
    and may raise to stop it."""
    seconds = float(film.times_s[-1] - film.times_s[0]) if len(film.times_s) else 0.0
    if len(film.grey) < LEAST_PICTURES or seconds < LEAST_S:
        return Reading(Sure.NOT_FOUND, Why.TOO_SHORT)
    if len(film.grey) / seconds < LEAST_PER_S:
        return Reading(Sure.NOT_FOUND, Why.TOO_SHORT)
    way = follow(film, box, box_index)
    on_step(0.5)
    cells = cells_along(film, way)
    on_step(0.7)
    if cells.inside.shape[1] == 0:
        return Reading(Sure.NOT_FOUND, Why.NOT_FOLLOWED, **_followed(film, way))
    even = at_even_times(cells, film.times_s)
    stretch = best_stretch(even, stroke)
    if stretch is None:
        return Reading(Sure.NOT_FOUND, Why.NOTHING, **_followed(film, way))
    return told(film, way, even, stretch, stroke)


def told(film: Film, way: Way, even: Even, stretch: Stretch, stroke: str) -> Reading:
    """What may be said of a stretch: the mean of two ways of telling its rate."""
    by_phase = rate_by_phase(even.between(stretch.first, stretch.end).inside, stretch.rate)
    rate = (stretch.rate + by_phase) / 2
    sure, why = _judged(way, stretch, by_phase, stroke)
    cycle = stretch.cycle
    known = sure is not Sure.NOT_FOUND
    others = cycle.others
    if why is Why.TWO_FIT and not known:
        others = tuple(sorted((cycle.rate, *others)))
    return Reading(
        sure,
        why,
        rate_per_min=rate if known else None,
        u_per_min=rate * u_share(stretch, by_phase) if known else None,
        cycles=stretch.cycles,
        from_s=even.begins_s + stretch.first / PER_S,
        to_s=even.begins_s + stretch.end / PER_S,
        again=cycle.again,
        others=others,
        **_followed(film, way),
    )


def _judged(way: Way, stretch: Stretch, by_phase: float, stroke: str) -> tuple[Sure, Why]:
    cycle = stretch.cycle
    if way.rival >= RIVAL:
        return Sure.NOT_FOUND, Why.NOT_FOLLOWED
    if cycle.again < FAINT:
        return Sure.NOT_FOUND, Why.NOTHING
    if stretch.cycles < LEAST_CYCLES:
        return Sure.NOT_FOUND, Why.TOO_FEW
    if stretch.clear < (BY_CHANCE_TWO_ARMS if stroke in TWO_ARMS else BY_CHANCE):
        return Sure.NOT_FOUND, Why.NOTHING
    if stretch.agree < AGREE:
        return Sure.NOT_FOUND, Why.UNSTEADY
    if is_too_quick(cycle.rate, stroke):
        return Sure.NOT_FOUND, Why.TOO_QUICK
    if any(is_swum(other, stroke) for other in cycle.others):
        return Sure.NOT_FOUND, Why.TWO_FIT
    doubts = (
        (not is_usual(cycle.rate, stroke), Why.RARE),
        (bool(cycle.others), Why.TWO_FIT),
        (cycle.again < CLEAR, Why.FAINT),
        (stretch.cycles < ENOUGH_CYCLES, Why.FEW),
        (_may_be_twice(stretch, stroke), Why.FEW),
        (stretch.agree < ALL_AGREE or unsteady(stretch) > SURE_STEP, Why.UNSTEADY),
        (u_share(stretch, by_phase) > SURE_U, Why.UNSTEADY),
        (way.rival >= CLEAR_RIVAL, Why.NOT_FOLLOWED),
    )
    doubt = next((why for is_so, why in doubts if is_so), None)
    if doubt is None:
        return Sure.SURE, Why.CLEAR
    if stroke == "breaststroke" and doubt in NOT_TOLD_OF_BREASTSTROKE:
        return Sure.NOT_FOUND, NOT_TOLD_OF_BREASTSTROKE[doubt]
    return Sure.LOOK, doubt


def _may_be_twice(stretch: Stretch, stroke: str) -> bool:
    is_quick = stretch.rate >= PULL_AND_KICK_RATE
    return stroke == "breaststroke" and is_quick and stretch.cycles < PULL_AND_KICK_CYCLES


def u_share(stretch: Stretch, by_phase: float) -> float:
    """Standard uncertainty as a part of the rate. Half of what the two ways differ by is that of
    their mean."""
    return math.hypot(
        U_SHARE,
        U_CYCLES / stretch.cycles,
        U_STEP * unsteady(stretch),
        stretch.cycle.spread,
        0.5 * (by_phase / stretch.rate - 1),
    )


def _followed(film: Film, way: Way) -> dict[str, Any]:
    height, width = film.size
    at_s = np.arange(film.times_s[0], film.times_s[-1], WAY_STEP_S)
    x, y = (
        np.interp(at_s, film.times_s, way.centre_px[:, axis]) / side
        for axis, side in ((0, width), (1, height))
    )
    places = tuple(
        Place(round(float(s), 3), round(float(a), 4), round(float(b), 4))
        for s, a, b in zip(at_s, x, y, strict=True)
    )
    return {"box": (way.box_px[0] / width, way.box_px[1] / height), "way": places}
