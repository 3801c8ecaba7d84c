"""Measures of a turn, by the zone that the club chose."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from feedback.compute.measuring.events import Seen, place_of
from feedback.compute.measuring.measure import Measure
from feedback.compute.measuring.swim_marks import NEAR_M, Length, SwimMarks, Wall
from feedback.compute.measuring.times import Times
from feedback.compute.measuring.uncertain import Quantity

PUSH_OFF_M = 5.0


@dataclass(frozen=True)
class TurnZone:
    """So far before the wall and so far after it, metres; the sources differ, so it is chosen."""

    in_m: float
    out_m: float


ZONES = (TurnZone(5.0, 10.0), TurnZone(5.0, 15.0), TurnZone(7.5, 7.5))


def turn_measures(swim: SwimMarks, times: Times, zone: TurnZone) -> Iterator[Measure]:
    """For each wall; of the last one, which nobody leaves, the way into it. Number: of the wall."""
    for length, after in zip(swim.lengths, [*swim.lengths[1:], None], strict=True):
        if length.wall is not None and after is not None:
            yield from _turn(length, length.wall, after, swim.course.course_m, times, zone)


def _turn(
    length: Length, wall: Wall, after: Length, course_m: float, times: Times, zone: TurnZone
) -> Iterator[Measure]:
    wall_m, number = wall.number * course_m, wall.number
    before = _head_at(length.heads, wall_m - zone.in_m)
    beyond = _head_at(after.heads, wall_m + zone.out_m)
    spans = (
        ("turn-time", before, beyond),
        ("turn-in", before, wall.touch),
        ("turn-rotation", wall.hands_touch, wall.feet_touch),
        ("turn-contact", wall.feet_touch, wall.feet_leave),
        ("turn-wall", wall.touch, wall.feet_leave),
        ("push-off-time", wall.feet_leave, _head_at(after.heads, wall_m + PUSH_OFF_M)),
        ("turn-out", wall.feet_leave, beyond),
        ("underwater-time", wall.feet_leave, after.breakout),
    )
    for key, one, other in spans:
        span = times.between_distances(one, other)
        if one is not None and other is not None and span is not None:
            at = number + 1 if key == "underwater-time" else number  # under water is of a length
            yield Measure(key, span, at, wall_m, (one.key, other.key))
    yield from _under_water(after, wall_m)


def _head_at(heads: Sequence[Seen], at_m: float) -> Seen | None:
    for one in heads:
        if one.distance_m is not None and abs(one.distance_m - at_m) <= NEAR_M:
            return one
    return None


def _under_water(after: Length, wall_m: float) -> Iterator[Measure]:
    if after.breakout is None:
        return
    place: Quantity | None = place_of(after.breakout)
    if place is not None:
        way = place.plus(-wall_m)
        if way.value > 0:
            yield Measure("underwater-distance", way, after.number, wall_m, (after.breakout.key,))
