"""Distances swum: from places in a picture, and whether distances go together.

A plane in the picture tells metres along the course from the start wall. Swum is something else
after a turn: in the first, third, … length a swimmer leaves that wall, in the others comes back.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise

from clinics.compute.errors import say as _
from feedback.compute.measuring.course import NEAR_M, Course, Length, Wrong
from feedback.compute.measuring.events import NAMES, Event, Seen, frame_source, place_of
from feedback.compute.measuring.uncertain import Quantity, Shape, Source

BESIDE_M = 1.0  # so far beyond a wall a place may be told: planes are less sure at their ends
UP_M_PER_S, UP_U_M_PER_S = 1.6, 0.4
"""How fast adults come up, and its standard deviation: common practice, no source. At 25 frames
per second 3 cm are taken off."""


def swum(along: Quantity, number: int, course_m: float) -> Quantity:
    """Metres swum at `along` metres from the start wall, in length `number` (from 1 on).

    >>> [swum(Quantity(20.0), number, 25.0).value for number in (1, 2, 3)]
    [20.0, 30.0, 70.0]
    """
    if number % 2:
        return along.plus((number - 1) * course_m)
    return along.times(-1.0).plus(number * course_m)


def placed_in(part: Sequence[Seen], number: int, course: Course) -> tuple[list[Seen], list[Wrong]]:
    """The marks of length `number` with what each has swum by its place in the picture, where
    that can be told; and sentences about places that cannot be."""
    out = next((one for one in part if one.event is Event.BREAKOUT), None)
    found: list[Seen] = []
    wrong: list[Wrong] = []
    for one in part:
        trouble = _trouble(one, out, course)
        if trouble is not None:
            wrong.append(trouble)
            found.append(one)
        elif one.place is None:
            found.append(one)
        else:
            way = swum(one.place, number, course.course_m)
            found.append(replace(one, swum=_when_it_came_up(way, one)))
    return found, wrong


def _when_it_came_up(way: Quantity, one: Seen) -> Quantity:
    """Of a head that came up: `way` is where its frame shows it, and it came up in the interval
    before; it goes on by half an interval's travel on the mean. When and where share that error."""
    if one.event is not Event.BREAKOUT:
        return way
    half_s = one.interval_s / 2
    speed = Quantity(UP_M_PER_S, {Source(f"speed of {one.key}", Shape.BELL, UP_U_M_PER_S): 1.0})
    before = Quantity(half_s, {frame_source(one): -1.0})
    return way - speed * before


def _trouble(one: Seen, out: Seen | None, course: Course) -> Wrong | None:
    if one.place is None:
        return None
    if not -BESIDE_M <= one.place.value <= course.course_m + BESIDE_M:
        told = _(
            "By the plane in the picture “%(event)s” at %(at)s s is %(metres)s m from the start "
            "wall, outside of the pool. Look at that spot and at the marks of the plane.",
            event=NAMES[one.event],
            at=f"{one.frame_s:.2f}",
            metres=f"{one.place.value:.1f}",
        )
        return Wrong((one.key,), told)
    head = one.event is Event.HEAD_AT_DISTANCE
    if one.from_above and head and out is not None and one.frame_s < out.frame_s:
        told = _(
            "At %(at)s s the head has not yet broken the surface, which is at %(out)s s. A camera "
            "above the water cannot say where it is below: take a view from under water, or type "
            "the distance.",
            at=f"{one.frame_s:.2f}",
            out=f"{out.frame_s:.2f}",
        )
        return Wrong((one.key, out.key), told)
    return None


def distances_wrong(lengths: Sequence[Length], course: Course) -> Iterator[Wrong]:
    """Distances are those swum from the start: they grow with time, and lie in their length."""
    for length in lengths:
        low_m, high_m = (length.number - 1) * course.course_m, length.number * course.course_m
        told = (length.breakout, *length.heads)
        for one in (one for one in told if one is not None and one.distance_m is not None):
            if not low_m <= (one.distance_m or 0.0) <= high_m + NEAR_M:
                yield _elsewhere(one, length, low_m, high_m)
    known = [one for length in lengths for one in length.heads if place_of(one) is not None]
    for one, after in pairwise(known):
        if _not_further(one, after):
            here, there = place_of(one), place_of(after)
            says = _(
                "The head is at %(after)s m after it was at %(one)s m. Distances are counted "
                "from the start and grow. Is a wall between them not marked?",
                one=_figure(one, here),
                after=_figure(after, there),
            )
            yield Wrong((one.key, after.key), says)


def _not_further(one: Seen, after: Seen) -> bool:
    """Two typed lines must grow; places in a picture may come back by as much as their ±."""
    here, there = place_of(one), place_of(after)
    if here is None or there is None:
        return False
    way = there - here
    if None not in (one.distance_m, after.distance_m):
        return way.value <= 0
    return way.value < -way.half_width_95


def _figure(one: Seen, place: Quantity | None) -> str:
    if one.distance_m is not None or place is None:
        return f"{one.distance_m or 0.0:g}"
    return f"{place.value:.1f}"


def _elsewhere(one: Seen, length: Length, low_m: float, high_m: float) -> Wrong:
    told = _(
        "“%(event)s” at %(at)s m stands in length %(number)s, which goes from %(low)s to "
        "%(high)s m. Distances are counted from the start; is a wall before it marked?",
        event=NAMES[one.event],
        at=f"{one.distance_m:g}",
        number=length.number,
        low=f"{low_m:g}",
        high=f"{high_m:g}",
    )
    return Wrong((one.key,), told)
