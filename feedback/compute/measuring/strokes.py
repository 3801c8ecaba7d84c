"""Stroke rate, count, length and index of each length that was swum.

Freestyle and backstroke: each hand's entry is marked, a cycle is two of them. Breaststroke and
butterfly: one mark a cycle. In a medley the stroke of each length has to be said.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from statistics import median

from clinics.compute.errors import say as _
from feedback.compute.measuring.course import Course
from feedback.compute.measuring.events import Seen, at_m_of, place_of
from feedback.compute.measuring.measure import Measure
from feedback.compute.measuring.swim_marks import Length, SwimMarks, Wrong
from feedback.compute.measuring.times import Times, apart_m
from feedback.compute.measuring.uncertain import Quantity, exact

MARKS_PER_CYCLE = {"freestyle": 2, "backstroke": 2, "breaststroke": 1, "butterfly": 1}
CLEAN_FROM = 5  # so many marks, and the first and last stroke of a length are left out
MISSED = 1.6  # an interval so many times the usual one is as long as two strokes, nearly
PER_MIN = 60.0
UNDER_WATER_M = 15.0  # after a wall the head must be up by then (SW 5.3, 6.4 and 8.5 by memory)


def clean(hands: Sequence[Seen]) -> Sequence[Seen]:
    """Without the first and the last stroke, where enough is left: the first follows the
    breakout, the last reaches for the wall (so also in tomesphere.com/paper/PMC12223124)."""
    return hands[1:-1] if len(hands) >= CLEAN_FROM else hands


def whole_cycles(hands: Sequence[Seen], per_cycle: int) -> Sequence[Seen]:
    """Without what goes beyond the last whole cycle. One arm of most swimmers takes longer than
    the other: half a cycle more would count as half the time of both."""
    return hands[: 1 + (len(hands) - 1) // per_cycle * per_cycle]


def rate_per_min(hands: Sequence[Seen], per_cycle: int, times: Times) -> Quantity | None:
    """Cycles per minute from the first to the last of these marks; None: no whole cycle, or
    their times cannot be told apart. The marks between cancel: only the ends count.

    SR = 60 k / T for k cycles in T seconds; with three cycles that is the usual 180 / T3.
    """
    cycles = (len(hands) - 1) / per_cycle
    if cycles <= 0:
        return None
    span = times.between(hands[0], hands[-1])
    return exact(PER_MIN * cycles) / span if span is not None else None


def stroke_measures(swim: SwimMarks, times: Times) -> Iterator[Measure]:
    """None of a medley's length of which nobody said the stroke."""
    for length in swim.lengths:
        per_cycle = MARKS_PER_CYCLE.get(swim.course.stroke_of(length.number))
        if per_cycle is None:
            continue
        yield from _of_length(length, swim.course, per_cycle, times)


def _of_length(length: Length, course: Course, per_cycle: int, times: Times) -> Iterator[Measure]:
    number, hands = length.number, length.hands
    if hands:
        keys = tuple(one.key for one in hands)
        yield Measure("stroke-count", exact(float(len(hands))), number, marks=keys)
    used = whole_cycles(clean(hands), per_cycle)
    rate = rate_per_min(used, per_cycle, times)
    ends = (used[0].key, used[-1].key) if rate is not None else ()
    if rate is not None:
        yield Measure("stroke-rate", rate, number, marks=ends)
    found = swimming_speed(length, course, times)
    if found is None:
        return
    speed, one, other = found
    yield Measure("swimming-speed", speed, number, at_m_of(one), (one.key, other.key))
    if rate is not None:
        way = speed.times(PER_MIN) / rate
        marks = (one.key, other.key, *ends)
        yield Measure("stroke-length", way, number, marks=marks)
        yield Measure("stroke-index", speed * way, number, marks=marks)


def swimming_speed(
    length: Length, course: Course, times: Times
) -> tuple[Quantity, Seen, Seen] | None:
    """Over the longest way between two distances of this length that lies after the breakout
    and before the wall; None: there is none. Head to head."""
    heads = [one for one in length.heads if _swims_at(one, length, course)]
    if len(heads) < 2:
        return None
    one, other = heads[0], heads[-1]
    way, span = apart_m(one, other), times.between(one, other)
    return (way / span, one, other) if way is not None and span is not None else None


def _swims_at(one: Seen, length: Length, course: Course) -> bool:
    """Where the breakout is not marked, hands that enter say that the swimmer is up, and so does
    the limit of what may be swum under water; nothing else does."""
    place = place_of(one)
    touch = length.wall.touch if length.wall else None
    if place is None or (touch is not None and one.frame_s > touch.frame_s):
        return False
    if length.breakout is not None:
        return one.frame_s >= length.breakout.frame_s
    if length.hands and one.frame_s >= length.hands[0].frame_s:
        return True
    return place.value >= (length.number - 1) * course.course_m + UNDER_WATER_M


def missed_strokes(swim: SwimMarks) -> list[Wrong]:
    """Hand entries between which another one seems to be missing."""
    found = []
    for length in swim.lengths:
        spans = [(one, other, other.frame_s - one.frame_s) for one, other in pairwise(length.hands)]
        if len(spans) < 3:
            continue
        usual_s = median(span for _one, _other, span in spans)
        for one, other, span in spans:
            if span > MISSED * usual_s:
                told = _(
                    "In length %(number)s there are %(span)s s between two hand entries; the "
                    "others are %(usual)s s apart. Is one not marked?",
                    number=length.number,
                    span=f"{span:.2f}",
                    usual=f"{usual_s:.2f}",
                )
                found.append(Wrong((one.key, other.key), told))
    return found
