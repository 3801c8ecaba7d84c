"""Times and speeds along the way: to a distance, of a segment, of a length; and the fade."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from feedback.compute.measuring.events import Seen, at_m_of, place_of
from feedback.compute.measuring.measure import Measure
from feedback.compute.measuring.strokes import swimming_speed
from feedback.compute.measuring.swim_marks import SwimMarks
from feedback.compute.measuring.times import Times, apart_m
from feedback.compute.measuring.uncertain import Quantity, exact

FROM_START_M = (5.0, 10.0, 15.0)
"""Distances at which the start is judged; the speed to them is said, too."""


def way_measures(swim: SwimMarks, times: Times) -> Iterator[Measure]:
    heads = [one for length in swim.lengths for one in length.heads if place_of(one) is not None]
    for head in heads:
        yield from _to_distance(head, times)
    for one, after in pairwise(heads):
        way, span = apart_m(one, after), times.between(one, after)
        if way is not None and span is not None:
            keys = (one.key, after.key)
            yield Measure("segment-speed", way / span, at_m=at_m_of(one), marks=keys)
    yield from _lengths(swim, times)
    yield from _fade(swim, times)


def _to_distance(head: Seen, times: Times) -> Iterator[Measure]:
    at, place = times.since_start(head), place_of(head)
    if at is None or place is None or at.value <= 0:
        return
    slope = _time_with_place(head, at)
    yield Measure("time-to-distance", slope, at_m=at_m_of(head), marks=(head.key,))
    if at_m_of(head) in FROM_START_M:
        yield Measure("speed-to-distance", place / at, at_m=at_m_of(head), marks=(head.key,))


def _time_with_place(head: Seen, at: Quantity) -> Quantity:
    """The time to a distance is as unsure as the place, divided by the speed there: the mean
    speed until then stands for that."""
    place = place_of(head)
    if place is None or not place.parts:
        return at
    return at + place.plus(-place.value).times(at.value / place.value)


def _lengths(swim: SwimMarks, times: Times) -> Iterator[Measure]:
    """The course is taken as it is said: a pool that is longer reads as slower swimming."""
    before: Seen | None = None
    for wall in swim.walls:
        touch, at_m = wall.touch, wall.number * swim.course.course_m
        split = times.since_start(touch)
        if touch is not None and split is not None:
            yield Measure("split", split, wall.number, at_m, (touch.key,))
        span = times.between(before, touch) if wall.number > 1 else None
        if before is not None and touch is not None and span is not None:
            keys = (before.key, touch.key)
            yield Measure("length-time", span, wall.number, at_m, keys)
            speed = exact(swim.course.course_m) / span
            yield Measure("length-speed", speed, wall.number, at_m, keys)
        before = touch


def _fade(swim: SwimMarks, times: Times) -> Iterator[Measure]:
    """Between the first and the last length in which a speed of swimming can be told."""
    speeds = [
        (found[0], (found[1].key, found[2].key))
        for length in swim.lengths
        if (found := swimming_speed(length, times)) is not None
    ]
    if len(speeds) < 2:
        return
    (first, keys), (last, more) = speeds[0], speeds[-1]
    fade = (first - last).times(100.0) / first
    yield Measure("fade", fade, marks=(*keys, *more))
