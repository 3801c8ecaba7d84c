"""What two people who mark the same swim say about how well an event can be placed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from feedback.compute.measuring.events import Event, Seen, View
from feedback.compute.measuring.placed_twice import placing_u, t_95
from feedback.compute.measuring.whole import measure_swim
from tests.feedback.measuring.swims import COURSE, Cameras, another_swim
from tests.feedback.measuring.test_coverage import truth_of

DRAWS = 500
E = Event
QUICK = {E.FIRST_ENTRY, E.BREAKOUT, E.HANDS_TOUCH_WALL, E.FEET_LEAVE_WALL}
"""What a quick pass marks beside the signal."""


@pytest.mark.parametrize("freedom", [4, 5, 8, 12, 30, 200])
def test_students_t_against_a_library(freedom: int) -> None:
    """scipy.stats.t; GUM table G.2 has 2.78 for 4 and 2.57 for 5."""
    assert t_95(freedom) == pytest.approx(stats.t.ppf(0.975, freedom), rel=0.003)


def people(
    rng: np.random.Generator, marks: list[Seen], scatter: float, of: Collection[Event]
) -> list[Seen]:
    """Two who each see every event `scatter` frames earlier or later (normal), on whole frames;
    the second places those of `of`."""

    def placed(one: Seen, by: str) -> Seen:
        off = round(rng.normal(0.0, scatter)) if scatter >= 1 else near(one)
        return replace(one, key=f"{one.key}{by}", by=by, frame_s=one.frame_s + off * one.interval_s)

    def near(one: Seen) -> int:
        """Off by a part of a frame moves some marks to the frame beside."""
        return int(np.floor(rng.uniform() + rng.normal(0.0, scatter)))

    first = [placed(one, "ines") for one in marks]
    return first + [placed(one, "jun") for one in marks if one.event in of]


@pytest.mark.parametrize("of", [QUICK, set(E)], ids=["quick pass", "whole pass"])
@pytest.mark.parametrize("scatter", [0.25, 0.5, 1.0, 2.0])
def test_the_interval_covers_where_people_scatter(scatter: float, of: set[Event]) -> None:
    """Times that rest on events which both placed."""
    rng, found = np.random.default_rng(71), defaultdict[str, list[bool]](list)
    names = [("breakout-time", 0), ("split", 1), ("underwater-time", 1)]
    for _ in range(DRAWS):
        events = another_swim(rng)
        marks, zero = Cameras().film(rng, events)
        told = measure_swim(people(rng, marks, scatter, of), COURSE, zero, by="ines")
        truth = truth_of(events)
        for key, number in names:
            measure = told.get(key, number)
            assert measure is not None
            off = measure.quantity.value - truth[key, number]
            found[key].append(abs(off) <= measure.quantity.half_width_95)
    covered = {key: float(np.mean(its)) for key, its in found.items()}
    assert all(len(its) == DRAWS for its in found.values())
    assert min(covered.values()) >= 0.93


def twice(event: Event, apart_s: float, times: int = 1) -> list[Seen]:
    """Placed by two people, ``times`` in a swim."""
    return [
        Seen(f"{event}{n}{by}", event, View("deck", None), 5.0 * n + by * apart_s, 0.04, str(by))
        for n in range(1, times + 1)
        for by in (0, 1)
    ]


def test_people_who_agree_on_every_frame_add_nothing() -> None:
    assert placing_u(twice(E.BREAKOUT, 0.0))[E.BREAKOUT] == 0
    assert placing_u([]) == {}


def test_two_marks_a_frame_apart_say_little_and_half_a_frame_counts_too() -> None:
    """For four degrees of freedom beside the one (arithmetic)."""
    squares = (4 * 0.02**2 + 0.04**2 / 2) / 5
    alone = placing_u(twice(E.BREAKOUT, 0.04))[E.BREAKOUT]
    assert alone == pytest.approx(stats.t.ppf(0.975, 5) / 1.96 * squares**0.5, rel=0.01)
    far = placing_u(twice(E.BREAKOUT, 0.16))[E.BREAKOUT]
    assert far == pytest.approx(0.16 / 2**0.5)  # never less than was seen


def test_what_is_placed_often_tells_for_itself() -> None:
    many = placing_u(twice(E.HAND_ENTRY, 0.08, times=60))[E.HAND_ENTRY]
    assert many == pytest.approx(0.08 / 2**0.5, rel=0.06)


def test_other_events_count_where_few_were_repeated() -> None:
    apart = twice(E.FEET_TOUCH_WALL, 0.12, times=4)
    alone = placing_u(twice(E.BREAKOUT, 0.04))
    beside = placing_u(twice(E.BREAKOUT, 0.04) + apart)
    assert beside[E.BREAKOUT] > 2 * alone[E.BREAKOUT]
    assert beside[E.FEET_TOUCH_WALL] < placing_u(apart)[E.FEET_TOUCH_WALL] * 1.2
