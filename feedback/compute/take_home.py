"""What is on the page that a swimmer takes home: which measures, in which order, how many stills.

Which measures are key is our choice (common practice, no source); a coach chooses anew.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from feedback.compute.measuring.measure import Measure
from feedback.compute.measuring.notation import Claim, claim
from feedback.compute.measuring.uncertain import Quantity

MOST_MEASURES = 8
MOST_STILLS = 3  # that fit beside each other on paper
MOVED_AT_MOST_M = 0.5
_AT_THE_END = 1_000  # more lengths than anybody swims


@dataclass(frozen=True)
class Choice:
    """`measures` by `key_of`, `stills` and the earlier swim (`before`) by id; "": none."""

    measures: tuple[str, ...] = ()
    stills: tuple[str, ...] = ()
    before: str = ""

    def to_json(self) -> dict[str, Any]:
        return {"measures": [*self.measures], "stills": [*self.stills], "before": self.before}


def choice_of(told: Any) -> Choice:
    """Back from JSON; what is missing or is no word is left out.

    >>> choice_of({"measures": ["fade-0-0", 7], "before": None})
    Choice(measures=('fade-0-0',), stills=(), before='')
    """
    known = told if isinstance(told, dict) else {}
    lists = {name: known.get(name) for name in ("measures", "stills")}
    words = {
        name: tuple(one for one in its if isinstance(one, str)) if isinstance(its, list) else ()
        for name, its in lists.items()
    }
    before = known.get("before")
    return Choice(**words, before=before if isinstance(before, str) else "")


def key_of(measure: Measure) -> str:
    """The same for the same measure of any swim: which, of which length or wall, where.

    >>> key_of(Measure("time-to-distance", Quantity(5.35), at_m=10.0))
    'time-to-distance-0-10'
    """
    return f"{measure.key}-{measure.number}-{measure.at_m or 0:g}"


# --- which are key --------------------------------------------------------------------------

# (definition, number of length or wall or None for any, metres or None for any)
Wanted = tuple[str, int | None, float | None]

_TO_15 = tuple(("time-to-distance", None, at_m) for at_m in (15.0, 10.0, 5.0))
_UNDER_WATER: tuple[tuple[Wanted, ...], ...] = (
    (("underwater-distance", 1, None), ("underwater-time", 1, None)),
    (("breakout-time", None, None),),
)
_DIVE: tuple[tuple[Wanted, ...], ...] = (
    (("block-time", None, None),),
    (("flight-time", None, None), ("time-to-entry", None, None)),
)
_TURN: tuple[tuple[Wanted, ...], ...] = (
    (("turn-wall", 1, None), ("turn-contact", 1, None)),
    (("underwater-distance", 2, None), ("underwater-time", 2, None)),
)
_STROKES: tuple[tuple[Wanted, ...], ...] = (
    (("stroke-rate", 1, None),),
    (("stroke-length", 1, None), ("swimming-speed", 1, None)),
)
_ALSO: tuple[tuple[Wanted, ...], ...] = (
    (("split", 1, None),),
    (("push-off-time", 1, None),),
    (("turn-time", 1, None),),
    (("stroke-count", 1, None),),
    (("stroke-rate", 2, None),),
    (("fade", None, None),),
)
_BREASTSTROKE: tuple[tuple[Wanted, ...], ...] = (
    (("stroke-rate", 1, None),),
    (("stroke-count", 1, None),),
    (("stroke-length", 1, None),),
    (("turn-rotation", 1, None),),
)
_MEDLEY: tuple[tuple[Wanted, ...], ...] = tuple(
    ((key, number, None),) for number in (1, 2, 3) for key in ("turn-wall", "length-time")
)


def _wanted(stroke: str, start: str) -> tuple[tuple[Wanted, ...], ...]:
    """Each line is one measure, or the next in the line where there is none such."""
    dive = _DIVE if start == "block" else ()
    if stroke == "breaststroke":
        return (_TO_15, *_UNDER_WATER, *_BREASTSTROKE, *_TURN, *dive, *_ALSO)
    if stroke == "medley":
        return (_TO_15, *_UNDER_WATER, *_MEDLEY, *dive, *_TURN, *_STROKES, *_ALSO)
    return (_TO_15, *_UNDER_WATER, *_STROKES, *_TURN, *dive, *_ALSO)


def proposal(
    measures: Sequence[Measure], *, stroke: str, start: str, course_m: float
) -> tuple[str, ...]:
    """Keys of at most MOST_MEASURES of what was measured, in the order of the swim: those that
    say most of this stroke, and of which a figure may be quoted."""
    sayable = [one for one in measures if claim(one.quantity) is not Claim.TOO_UNSURE]
    found: dict[str, Measure] = {}
    for line in _wanted(stroke, start):
        for wanted in line:
            one = next((one for one in sayable if _is(one, wanted)), None)
            if one is not None:
                found.setdefault(key_of(one), one)
                break
    kept = list(found.values())[:MOST_MEASURES]
    return tuple(key_of(one) for one in in_order(kept, course_m=course_m))


def _is(one: Measure, wanted: Wanted) -> bool:
    key, number, at_m = wanted
    return one.key == key and number in (None, one.number) and at_m in (None, one.at_m)


def chosen(measures: Iterable[Measure], keys: Collection[str], *, course_m: float) -> list[Measure]:
    """Those of them that there are, once each, in the order of the swim. A distance that is read
    off the picture moves a little when the picture's metres are set anew: it is still the same."""
    known = {key_of(one): one for one in reversed(tuple(measures))}
    found: dict[str, Measure] = {}
    for key in keys:
        one = known.get(key) or _moved(key, known)
        if one is not None:
            found.setdefault(key_of(one), one)
    return in_order(found.values(), course_m=course_m)


def _moved(key: str, known: Mapping[str, Measure]) -> Measure | None:
    name, _dash, at = key.rpartition("-")
    try:
        at_m = float(at)
    except ValueError:
        return None
    near = [
        (abs(one.at_m - at_m), k)
        for k, one in known.items()
        if one.at_m is not None and f"{one.key}-{one.number}" == name
    ]
    apart_m, nearest = min(near, default=(MOVED_AT_MOST_M, ""))
    return known[nearest] if apart_m < MOVED_AT_MOST_M else None


# --- in which order -------------------------------------------------------------------------

_START = (
    *("reaction-time", "block-time", "movement-time", "flight-time", "flight-distance"),
    *("entry-time", "time-to-entry"),
)
_OF_LENGTH = (
    *("underwater-time", "underwater-distance", "breakout-time"),
    *("time-to-distance", "speed-to-distance", "segment-speed"),
    *("stroke-rate", "stroke-count", "swimming-speed", "stroke-length", "stroke-index"),
    *("turn-time", "turn-in", "split", "length-time", "length-speed"),
    *("turn-rotation", "turn-contact", "turn-wall", "push-off-time", "turn-out"),
)


def in_order(measures: Iterable[Measure], *, course_m: float) -> list[Measure]:
    """As the swim goes: the start, then length by length until the wall at its end; what is
    about the whole swim comes last. `course_m`: of the pool, in metres."""
    return sorted(measures, key=lambda one: _place(one, course_m))


def _place(one: Measure, course_m: float) -> tuple[int, int, float, str]:
    at_m = one.at_m or 0.0
    if one.key in _START:
        return (0, _START.index(one.key), 0.0, "")
    if one.key not in _OF_LENGTH:
        return (one.number or _AT_THE_END, len(_OF_LENGTH), at_m, one.key)
    length = one.number or max(1, math.ceil(at_m / course_m))  # the breakout has neither: the first
    return (length, _OF_LENGTH.index(one.key), at_m, "")


# --- against last time ----------------------------------------------------------------------


@dataclass(frozen=True)
class Against:
    """`apart`: this time less last time. `differs`: by more than its ±."""

    before: Measure
    apart: Quantity
    differs: bool


def against(now: Measure, before: Measure) -> Against | None:
    """None where either is too unsure to be quoted: then nothing is said of a difference.

    >>> from feedback.compute.measuring.uncertain import Shape, Source
    >>> def far(value, name):
    ...     parts = {Source(name, Shape.BELL, 0.03): 1.0}
    ...     return Measure("underwater-distance", Quantity(value, parts), 1)
    >>> found = against(far(9.8, "now"), far(8.9, "then"))
    >>> round(found.apart.value, 3), found.differs
    (0.9, True)
    >>> against(far(8.95, "now"), far(8.9, "then")).differs
    False
    """
    if Claim.TOO_UNSURE in (claim(now.quantity), claim(before.quantity)):
        return None
    return Against(
        before, now.quantity - before.quantity, now.quantity.is_other_than(before.quantity)
    )
