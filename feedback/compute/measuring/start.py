"""Measures of the start, until the head breaks the surface."""

from __future__ import annotations

from collections.abc import Iterator

from feedback.compute.measuring.events import Event, Seen, place_of
from feedback.compute.measuring.measure import Measure
from feedback.compute.measuring.swim_marks import SwimMarks
from feedback.compute.measuring.times import Times
from feedback.compute.measuring.uncertain import Quantity

# key, from (None: the start signal), to
_SPANS = (
    ("reaction-time", None, Event.FIRST_MOVEMENT),
    ("block-time", None, Event.FEET_LEAVE_BLOCK),
    ("movement-time", Event.FIRST_MOVEMENT, Event.FEET_LEAVE_BLOCK),
    ("flight-time", Event.FEET_LEAVE_BLOCK, Event.FIRST_ENTRY),
    ("entry-time", Event.FIRST_ENTRY, Event.FULL_ENTRY),
    ("time-to-entry", None, Event.FIRST_ENTRY),
)


def start_measures(swim: SwimMarks, times: Times) -> Iterator[Measure]:
    """Spans between the events of the start that are marked, then the first breakout."""
    for key, begin, end in _SPANS:
        first, last = swim.start.get(begin) if begin else None, swim.start.get(end)
        span = times.between(first, last) if begin else times.since_start(last)
        yield from _measure(key, span, first, last)
    breakout = swim.lengths[0].breakout if swim.lengths else None
    yield from _measure("breakout-time", times.since_start(breakout), breakout)
    entry = swim.start.get(Event.FIRST_ENTRY)
    under = entry or swim.start.get(Event.FEET_LEAVE_WALL)
    yield from _measure(
        "underwater-time", times.between(under, breakout), under, breakout, number=1
    )
    yield from _measure("flight-distance", _way(entry), entry)
    yield from _measure("underwater-distance", _way(breakout), breakout, number=1)


def _way(seen: Seen | None) -> Quantity | None:
    """From the start wall. None: not marked, not said, or behind that wall."""
    place = place_of(seen) if seen is not None else None
    return place if place is not None and place.value > 0 else None


def _measure(
    key: str, quantity: Quantity | None, *marks: Seen | None, number: int = 0
) -> Iterator[Measure]:
    if quantity is not None:
        yield Measure(key, quantity, number, marks=tuple(one.key for one in marks if one))
