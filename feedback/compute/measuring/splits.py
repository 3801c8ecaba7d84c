"""Times and speeds along the way: to a distance, of a segment, of a length; and the fade."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from feedback.compute.measuring.events import Seen, at_m_of, place_of
from feedback.compute.measuring.measure import Measure
from feedback.compute.measuring.strokes import MARKS_PER_CYCLE, swimming_speed
from feedback.compute.measuring.swim_marks import SwimMarks
from feedback.compute.measuring.times import Times, apart_m
from feedback.compute.measuring.uncertain import exact

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
    if at is None or place is None or place.value <= 0:
        return
    yield Measure("time-to-distance", at, at_m=at_m_of(head), marks=(head.key,))
    if at_m_of(head) in FROM_START_M:
        speed = place / (times.at(head) - times.zero.time)  # as far as it was, when it was there
        yield Measure("speed-to-distance", speed, at_m=at_m_of(head), marks=(head.key,))


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
    """Between the first and the last length in which a speed of swimming can be told. None of a
    medley: breaststroke is slower than butterfly, and nobody faded."""
    strokes = {swim.course.stroke_of(length.number) for length in swim.lengths}
    speeds = [
        (found[0], (found[1].key, found[2].key))
        for length in swim.lengths
        if (found := swimming_speed(length, swim.course, times)) is not None
    ]
    if len(speeds) < 2 or len(strokes) > 1 or not strokes <= set(MARKS_PER_CYCLE):
        return
    (first, keys), (last, more) = speeds[0], speeds[-1]
    fade = (first - last).times(100.0) / first
    yield Measure("fade", fade, marks=(*keys, *more))
