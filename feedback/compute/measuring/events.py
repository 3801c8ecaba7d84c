"""When an event was that a person marked on a frame, in seconds from the start signal.

A mark stands on the first frame that shows the event, so the event lies in the interval before
that frame: half an interval is taken off, and half an interval either way is left. Taking it off
matters between unequal frame rates and against sound; between equal rates it cancels (arithmetic;
25 against 59.94 frames per second: 11.6 ms, 25 against sound: 20 ms).

Marks of one view share the error of its clock, so it drops out between them. All times share
that of the start signal.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from clinics.compute.errors import Said
from clinics.compute.errors import say as _
from feedback.compute.measuring.uncertain import Quantity, Shape, Source


class Event(StrEnum):
    """What can be marked, in the order of a swim."""

    START_SIGNAL = "start-signal"
    FIRST_MOVEMENT = "first-movement"
    FEET_LEAVE_BLOCK = "feet-leave-block"
    FIRST_ENTRY = "first-entry"
    FULL_ENTRY = "full-entry"
    BREAKOUT = "breakout"
    HAND_ENTRY = "hand-entry"
    HEAD_AT_DISTANCE = "head-at-distance"
    HANDS_TOUCH_WALL = "hands-touch-wall"
    FEET_TOUCH_WALL = "feet-touch-wall"
    FEET_LEAVE_WALL = "feet-leave-wall"


NAMES: dict[Event, Said] = {
    Event.START_SIGNAL: _("start signal"),
    Event.FIRST_MOVEMENT: _("first movement"),
    Event.FEET_LEAVE_BLOCK: _("feet leave block"),
    Event.FIRST_ENTRY: _("first entry"),
    Event.FULL_ENTRY: _("full entry"),
    Event.BREAKOUT: _("head breaks surface"),
    Event.HAND_ENTRY: _("hand entry"),
    Event.HEAD_AT_DISTANCE: _("head at a distance"),
    Event.HANDS_TOUCH_WALL: _("hands touch wall"),
    Event.FEET_TOUCH_WALL: _("feet touch wall"),
    Event.FEET_LEAVE_WALL: _("feet leave wall"),
}


class Body(StrEnum):
    """The part of the body that an event is about."""

    NOBODY = "nobody"  # the signal
    ANY = "any"
    FEET = "feet"
    HANDS = "hands"
    WHOLE = "whole"
    HEAD = "head"


BODY = {
    Event.START_SIGNAL: Body.NOBODY,
    Event.FIRST_MOVEMENT: Body.ANY,
    Event.FEET_LEAVE_BLOCK: Body.FEET,
    Event.FIRST_ENTRY: Body.ANY,  # whatever enters first; in a dive the hands
    Event.FULL_ENTRY: Body.WHOLE,
    Event.BREAKOUT: Body.HEAD,
    Event.HAND_ENTRY: Body.HANDS,
    Event.HEAD_AT_DISTANCE: Body.HEAD,
    Event.HANDS_TOUCH_WALL: Body.HANDS,
    Event.FEET_TOUCH_WALL: Body.FEET,
    Event.FEET_LEAVE_WALL: Body.FEET,
}


@dataclass(frozen=True)
class View:
    """`clock_u_s`: standard uncertainty of this recording's clock against the clinic's others,
    in seconds; None: its clock is not known, and its marks tell no time against another view."""

    key: str
    clock_u_s: float | None


@dataclass(frozen=True)
class Seen:
    """A mark. `frame_s`: time of its frame, seconds from the start signal. `interval_s`: from
    the frame before to this one. `distance_m`: swum until then, where the mark says so, with
    its standard uncertainty. `by`: who placed it, any text that is the same for one person.

    `place`: where a plane in the picture has it, metres along the course from the start wall.
    `outside`: not between the marks of that plane. `from_above`: the camera is above the water.
    `swum`: the distance swum at that place, from the length that the mark turned out to lie in."""

    key: str
    event: Event
    view: View
    frame_s: float
    interval_s: float
    by: str = ""
    distance_m: float | None = None
    distance_u_m: float = 0.0
    place: Quantity | None = None
    outside: bool = False
    from_above: bool = False
    swum: Quantity | None = None


@dataclass(frozen=True)
class Zero:
    """The start signal. `at_s`: where it is on the axis of `Seen.frame_s`, 0 as a rule.
    `kind`: heard, tap or mark, as a Swim says. `u_s`: its standard uncertainty. `key`: whose
    start it is; two swims have two.

    `view`: where it was marked on a frame of one, with `half_s` half that frame's interval. Its
    error is then that of the frame and of the view's clock, which the view's marks share."""

    kind: str
    u_s: float
    at_s: float = 0.0
    key: str = "start"
    view: View | None = None
    half_s: float = 0.0

    @property
    def time(self) -> Quantity:
        if self.view is None:
            return Quantity(self.at_s, {Source(self.key, Shape.BELL, self.u_s): 1.0})
        parts = {Source(f"frame of {self.key}", Shape.BOX, self.half_s): 1.0}
        return Quantity(self.at_s, parts | _clock(self.view))


def _clock(view: View) -> dict[Source, float]:
    if not view.clock_u_s:
        return {}
    return {Source(f"clock of {view.key}", Shape.BELL, view.clock_u_s): 1.0}


def time_of(seen: Seen, *, spread_s: float = 0.0) -> Quantity:
    """The event's time on the axis of `frame_s`, with half the frame interval taken off; of a head
    at no said distance that of the frame, since its place is the one that it has there.

    `spread_s`: standard uncertainty of how people place this event, beyond the frame
    (placed_twice.py).
    ValueError for an interval that is none.

    >>> view = View("deck", 0.002)
    >>> at = time_of(Seen("m", Event.BREAKOUT, view, 6.12, 0.04))
    >>> round(at.value, 3), round(at.u, 4)
    (6.1, 0.0117)
    """
    if not 0 < seen.interval_s < math.inf:
        raise ValueError(f"mark {seen.key}: a frame interval of {seen.interval_s} s")
    if is_anywhere(seen):
        return Quantity(seen.frame_s, _clock(seen.view))
    parts = {frame_source(seen): 1.0} | _clock(seen.view)
    if spread_s:
        parts[Source(f"spread of {seen.key}", Shape.BELL, spread_s)] = 1.0
    return Quantity(seen.frame_s - seen.interval_s / 2, parts)


def frame_source(seen: Seen) -> Source:
    """By how much the event may be later than the middle of the interval before its frame."""
    return Source(f"frame of {seen.key}", Shape.BOX, seen.interval_s / 2)


def place_of(seen: Seen) -> Quantity | None:
    """Distance swum at this event, metres: as it was typed, else by the plane in the picture.
    None: the mark does not say.

    A head at a typed distance is at a line, which is where it is; of other events somebody read
    the distance off, and where nobody said how well, its last digit counts as rounded.

    >>> out = Seen("m", Event.BREAKOUT, View("deck", 0.0), 4.6, 0.04, distance_m=11.5)
    >>> round(place_of(out).half_width_95, 4)
    0.0475
    """
    if seen.distance_m is None:
        return seen.swum
    key = f"place of {seen.key}"
    if seen.distance_u_m:
        return Quantity(seen.distance_m, {Source(key, Shape.BELL, seen.distance_u_m): 1.0})
    if seen.event is Event.HEAD_AT_DISTANCE:
        return Quantity(seen.distance_m)
    return Quantity(seen.distance_m, {Source(key, Shape.BOX, _half_a_digit(seen.distance_m)): 1.0})


def _half_a_digit(typed: float) -> float:
    decimals = len(f"{typed:.10g}".partition(".")[2])
    return 0.5 * 10.0**-decimals


def at_m_of(seen: Seen) -> float | None:
    """The distance by which a measure at this mark is called."""
    if seen.distance_m is not None or seen.swum is None:
        return seen.distance_m
    return round(seen.swum.value, 2)


def is_anywhere(seen: Seen) -> bool:
    """A head at no said distance: each is where it is, and no two are the same happening."""
    return seen.event is Event.HEAD_AT_DISTANCE and seen.distance_m is None
