"""The same thing told twice by marks that do not depend on each other, and not agreeing.

What is the same number by construction is no check, and none is made of it: stroke length is
worked out from speed and rate, the parts of a turn share their marks, the time spent swimming is
what the other parts leave. Independent are a distance that was typed and the plane in the picture;
one event marked in two views; lengths of one swim, which last much the same; and the way that the
hands went against that of the head.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import combinations

from clinics.compute.errors import say as _
from feedback.compute.measuring.consistency import rate_times_length
from feedback.compute.measuring.course import Length, Wall, Wrong
from feedback.compute.measuring.events import NAMES, Event, Seen, is_anywhere, place_of
from feedback.compute.measuring.notation import written
from feedback.compute.measuring.placed_twice import SAME_S
from feedback.compute.measuring.strokes import (
    MARKS_PER_CYCLE,
    PER_MIN,
    clean,
    swimming_speed,
    whole_cycles,
)
from feedback.compute.measuring.swim_marks import SwimMarks
from feedback.compute.measuring.times import Times
from feedback.compute.measuring.uncertain import Quantity, exact

LEAST_HANDS = 3
AS_LONG_AS_TWO = 1.7
"""Times another length: no medley's strokes and no fade differ so much (judgement)."""
MATTERS = 0.03  # a smaller share is what swimming itself changes within a length (judgement)


def disagreements(given: Iterable[Seen], swim: SwimMarks, times: Times) -> list[Wrong]:
    """Sentences that name the marks; each difference is beyond its own ± of 95 in 100 cases."""
    return [
        *_typed_and_seen(swim),
        *_in_two_views(given, times),
        *_as_long_as_two(swim, times),
        *(one for length in swim.lengths for one in _hands_and_head(length, swim, times)),
    ]


def _typed_and_seen(swim: SwimMarks) -> Iterator[Wrong]:
    lengths = [(one.breakout, *one.heads) for one in swim.lengths]
    for one in (*swim.start.values(), *(mark for its in lengths for mark in its)):
        typed = place_of(one) if one is not None else None
        if one is None or typed is None or one.distance_m is None or one.swum is None:
            continue
        if typed.is_other_than(one.swum):
            told = _(
                "“%(event)s” at %(at)s s: %(typed)s m was typed, the plane in the picture has "
                "%(seen)s m ± %(half)s m. One of them is wrong; what was typed is taken.",
                event=NAMES[one.event],
                at=f"{one.frame_s:.2f}",
                typed=f"{one.distance_m:g}",
                **_figures(one.swum),
            )
            yield Wrong((one.key,), told)


def _figures(quantity: Quantity) -> dict[str, str]:
    w = written(quantity)
    return {"seen": f"{w.value:.{w.decimals}f}", "half": f"{w.half_width:.{w.decimals}f}"}


def _in_two_views(given: Iterable[Seen], times: Times) -> Iterator[Wrong]:
    """Hand entries are left out: which of two is the same one is not sure enough."""
    known = [
        one
        for one in given
        if one.view.clock_u_s is not None
        and one.event is not Event.HAND_ENTRY
        and not is_anywhere(one)
    ]
    for one, other in combinations(sorted(known, key=lambda mark: (mark.frame_s, mark.key)), 2):
        same = (one.event, one.distance_m) == (other.event, other.distance_m)
        if not same or one.view == other.view or other.frame_s - one.frame_s > SAME_S:
            continue
        first, second = times.at(one), times.at(other)
        if second.is_other_than(first):
            apart = second - first
            told = _(
                "“%(event)s” is marked in two views, %(apart)s s apart; their clocks and frames "
                "account for %(half)s s. Look at both frames.",
                event=NAMES[one.event],
                apart=f"{abs(apart.value):.3f}",
                half=f"{apart.half_width_95:.3f}",
            )
            yield Wrong((one.key, other.key), told)


def _as_long_as_two(swim: SwimMarks, times: Times) -> Iterator[Wrong]:
    """A wall that nobody marked makes two lengths one, and what comes after is counted wrongly."""
    lasted: dict[int, tuple[float, Seen]] = {}
    before: Wall | None = None
    for length in swim.lengths:
        end = length.wall.touch if length.wall else None
        begin = before.touch if before else None
        span = times.since_start(end) if length.number == 1 else times.between(begin, end)
        if span is not None and end is not None:
            lasted[length.number] = span.value, end
        before = length.wall
    if not lasted:
        return
    shortest = min(lasted, key=lambda number: lasted[number][0])
    least_s = lasted[shortest][0]
    for number, (its_s, touch) in lasted.items():
        if its_s > AS_LONG_AS_TWO * least_s:
            told = _(
                "Length %(number)s took %(its)s s, length %(other)s %(least)s s. Is a wall in it "
                "not marked?",
                number=number,
                its=f"{its_s:.1f}",
                other=shortest,
                least=f"{least_s:.1f}",
            )
            yield Wrong((touch.key,), told)


def _hands_and_head(length: Length, swim: SwimMarks, times: Times) -> Iterator[Wrong]:
    """Rate times stroke length against speed (Craig and Pendergast 1979), where the length of a
    stroke is told by the places at which the hands went in, and the speed by the head."""
    per_cycle = MARKS_PER_CYCLE.get(swim.course.stroke_of(length.number))
    found = swimming_speed(length, swim.course, times)
    if per_cycle is None or found is None:
        return
    by_head, one, other = found
    counted = list(enumerate(whole_cycles(clean(length.hands), per_cycle)))
    placed = [(n, hand) for n, hand in counted if hand.swum is not None]
    if len(placed) < LEAST_HANDS:
        return
    (begin, first), (end, last) = placed[0], placed[-1]
    cycles = (end - begin) / per_cycle  # hands between them without a place are strokes, too
    span = times.between(first, last)
    if span is None or first.swum is None or last.swum is None:
        return
    way = (last.swum - first.swum).times(1 / cycles)
    rate = exact(PER_MIN * cycles) / span
    by_hands = rate.times(1 / PER_MIN) * way
    if way.value <= 0 or not by_hands.is_other_than(by_head):
        return
    if rate_times_length(rate.value, way.value, by_head.value, tolerance=MATTERS).agrees:
        return
    told = _(
        "In length %(number)s the hands go in %(way)s m apart from cycle to cycle, which at "
        "%(rate)s cycles a minute makes %(hands)s m/s; from head to head it is %(head)s m/s. Look "
        "at these places.",
        number=length.number,
        way=f"{way.value:.2f}",
        rate=f"{rate.value:.1f}",
        hands=f"{by_hands.value:.2f}",
        head=f"{by_head.value:.2f}",
    )
    yield Wrong((first.key, last.key, one.key, other.key), told)
