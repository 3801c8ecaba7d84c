"""What points of a body on one frame tell: angles with their ±, and the centre's place.

Each point is off by its own click, along both axes alike (`Source`s of its own), so that what two
angles share counts once. Angles are "as seen"; what a turn out of the picture's plane would make
of them stands beside them and is no part of the ±.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from feedback.compute.measuring.angles import (
    TURNS_DEG,
    Turned,
    joint_deg,
    to_surface_deg,
    turned,
)
from feedback.compute.measuring.body.centre import Centre, Place, Point, centre_of_mass
from feedback.compute.measuring.body.points import Click, OnPicture, name_of
from feedback.compute.measuring.body.tables import At, Part, Side
from feedback.compute.measuring.plane import CLICK_U_PX
from feedback.compute.measuring.uncertain import Quantity, Shape, Source

ENOUGH_SHARE = 0.7  # of the body's mass: with less it is the centre of some limbs (our choice)


class Kind(StrEnum):
    WRIST = "wrist"
    ELBOW = "elbow"
    SHOULDER = "shoulder"
    HIP = "hip"
    KNEE = "knee"
    ANKLE = "ankle"
    TRUNK = "trunk"  # to the surface, positive with the shoulders lower than the hips
    HEAD = "head"  # out of the trunk's line, 0 in line with it
    ENTRY_HANDS = (
        "entry-hands"  # body line from hips to hands to the surface, positive: hands lower
    )
    ENTRY_HEAD = "entry-head"  # the same from hips to the top of the head


TO_SURFACE = (Kind.TRUNK, Kind.ENTRY_HANDS, Kind.ENTRY_HEAD)
JOINTS: dict[Kind, tuple[At, At, At]] = {
    Kind.WRIST: (At.ELBOW, At.WRIST, At.FINGERTIP),
    Kind.ELBOW: (At.SHOULDER, At.ELBOW, At.WRIST),
    Kind.SHOULDER: (At.HIP, At.SHOULDER, At.ELBOW),
    Kind.HIP: (At.SHOULDER, At.HIP, At.KNEE),
    Kind.KNEE: (At.HIP, At.KNEE, At.ANKLE),
    Kind.ANKLE: (At.KNEE, At.ANKLE, At.TOE),
}


@dataclass(frozen=True)
class Angle:
    """`quantity` in degrees. `side` of a joint; None: of the middle of the body. `turns`: what it
    could be in truth. `of`: the points it is from."""

    kind: Kind
    side: Side | None
    quantity: Quantity
    turns: tuple[Turned, ...]
    of: tuple[Place, ...]


@dataclass(frozen=True)
class _End:
    """An end of a line: a point, or the middle of the points of both sides."""

    of: tuple[Place, ...]
    clicks: tuple[Click, ...]

    @property
    def at(self) -> Point:
        n = len(self.clicks)
        return sum(c.x for c in self.clicks) / n, sum(c.y for c in self.clicks) / n

    def parts(self, key: str, by: Point) -> dict[Source, float]:
        """Of a change by `by` per pixel across and down."""
        made = {}
        for place, click in zip(self.of, self.clicks, strict=True):
            for axis, change in zip("xy", by, strict=True):
                made[source(key, name_of(place), axis, click)] = change / len(self.clicks)
        return made


def source(key: str, name: str, axis: str, click: Click) -> Source:
    """The error of one click along an axis of the picture, in pixels. `key` names the frame."""
    return Source(f"click {key} {name} {axis}", Shape.BELL, click_u_px(click))


def click_u_px(click: Click) -> float:
    """Standard uncertainty; a person is no surer than a pixel of the screen lets them be."""
    return CLICK_U_PX * click.finest_px


def angles_of(seen: OnPicture, *, key: str) -> list[Angle]:
    """Every angle of which the points are there. Two points at one place give none."""
    joints = [
        _joint(kind, side, seen.clicks, key) for kind in JOINTS for side in (Side.LEFT, Side.RIGHT)
    ]
    hands = _end(seen.clicks, At.FINGERTIP) or _end(seen.clicks, At.WRIST)
    top, hips = _end(seen.clicks, At.VERTEX), _end(seen.clicks, At.HIPS, At.HIP)
    shoulders = _end(seen.clicks, At.SHOULDERS, At.SHOULDER)
    neck = _end(seen.clicks, At.NECK) or shoulders
    if _crossed(shoulders, hips):
        shoulders = None
    lines = [
        _to_surface(Kind.TRUNK, shoulders, hips, seen.level, key),
        _head(top, neck, shoulders, hips, key),
        _to_surface(Kind.ENTRY_HANDS, hands, hips, seen.level, key),
        _to_surface(Kind.ENTRY_HEAD, top, hips, seen.level, key),
    ]
    return [one for one in (*joints, *lines) if one is not None]


def centre_on(seen: OnPicture, table: Sequence[Part]) -> tuple[Centre, float]:
    """The centre of mass in pixels, and its standard uncertainty along each axis from the
    clicks alone: no table fits one body exactly."""
    centre = centre_of_mass({place: click.at for place, click in seen.clicks.items()}, table)
    u = math.hypot(*(c * click_u_px(seen.clicks[place]) for place, c in centre.clicks.items()))
    return centre, u


def _end(clicks: Mapping[Place, Click], *names: At) -> _End | None:
    """The first of these that is set; of a joint the middle of both sides where both are."""
    for at in names:
        of = [place for place in ((at, None), (at, Side.LEFT), (at, Side.RIGHT)) if place in clicks]
        if of:
            return _End(tuple(of), tuple(clicks[place] for place in of))
    return None


def _crossed(shoulders: _End | None, hips: _End | None) -> bool:
    """One shoulder and the other side's hip: that is across the trunk and not along it."""
    if shoulders is None or hips is None or len(shoulders.of) + len(hips.of) > 2:
        return False
    return {shoulders.of[0][1], hips.of[0][1]} == set(Side)


def _direction(tail: _End, tip: _End, key: str) -> Quantity:
    """In the picture, clockwise from the right, since y points down. ValueError: one place."""
    dx, dy = tip.at[0] - tail.at[0], tip.at[1] - tail.at[1]
    square = dx * dx + dy * dy
    if square == 0:
        raise ValueError("two points at one place have no direction")
    by = math.degrees(-dy / square), math.degrees(dx / square)
    at_tip = Quantity(math.degrees(math.atan2(dy, dx)), tip.parts(key, by))
    return at_tip + Quantity(0.0, tail.parts(key, (-by[0], -by[1])))


def _between(one: Quantity, other: Quantity) -> Quantity:
    """The angle between two directions, 0 to 180."""
    apart = (other - one).value
    turn = apart - 360.0 * round(apart / 360.0)
    return Quantity(abs(turn), (other - one).times(math.copysign(1.0, turn)).parts)


def _joint(kind: Kind, side: Side, clicks: Mapping[Place, Click], key: str) -> Angle | None:
    places = tuple((at, side) for at in JOINTS[kind])
    if any(place not in clicks for place in places):
        return None
    one, joint, other = (_End((place,), (clicks[place],)) for place in places)
    try:
        told = _between(_direction(joint, one, key), _direction(joint, other, key))
        turns = tuple(turned(one.at, joint.at, other.at, deg) for deg in TURNS_DEG)
    except ValueError:
        return None
    exact = Quantity(joint_deg(one.at, joint.at, other.at), told.parts)
    return Angle(kind, side, exact, turns, places)


def _head(
    top: _End | None, neck: _End | None, shoulders: _End | None, hips: _End | None, key: str
) -> Angle | None:
    if top is None or neck is None or shoulders is None or hips is None:
        return None
    try:
        told = _between(_direction(hips, shoulders, key), _direction(neck, top, key))
        trunk, head = _as_arrow(hips, shoulders), _as_arrow(neck, top)
        turns = tuple(turned(trunk, (0.0, 0.0), head, deg) for deg in TURNS_DEG)
    except ValueError:
        return None
    of = dict.fromkeys((*top.of, *neck.of, *shoulders.of, *hips.of))
    return Angle(Kind.HEAD, None, told, turns, tuple(of))


def _as_arrow(tail: _End, tip: _End) -> Point:
    return tip.at[0] - tail.at[0], tip.at[1] - tail.at[1]


def _to_surface(
    kind: Kind,
    front: _End | None,
    back: _End | None,
    level: tuple[Click, Click] | None,
    key: str,
) -> Angle | None:
    if front is None or back is None:
        return None
    try:
        along = _direction(back, front, key) - _level(level, key)
        ends = (level[0].at, level[1].at) if level else None
        value = to_surface_deg(front.at, back.at, ends)
    except ValueError:
        return None
    sense = 1.0 if math.cos(math.radians(along.value)) >= 0 else -1.0
    turns = tuple(flattened(value, deg) for deg in TURNS_DEG)
    return Angle(
        kind, None, Quantity(value, along.times(sense).parts), turns, (*front.of, *back.of)
    )


def _level(level: tuple[Click, Click] | None, key: str) -> Quantity:
    """From left to right. Without one the picture's own horizontal, of which nobody knows how
    level it is: it adds nothing to the ±, and whoever tells the angle says so."""
    if level is None:
        return Quantity(0.0)
    names = sorted(zip(level, ("level-1", "level-2"), strict=True), key=lambda one: one[0].at)
    (left, _), (right, _) = names
    dx, dy = right.x - left.x, right.y - left.y
    square = dx * dx + dy * dy
    if square == 0:
        raise ValueError("two points at one place have no direction")
    by = math.degrees(-dy / square), math.degrees(dx / square)
    parts: dict[Source, float] = {}
    for (click, name), sign in zip(names, (-1.0, 1.0), strict=True):
        for axis, change in zip("xy", by, strict=True):
            parts[source(key, name, axis, click)] = sign * change
    return Quantity(math.degrees(math.atan2(dy, dx)), parts)


def flattened(seen_deg: float, turn_deg: float) -> Turned:
    """What an angle to the surface is in truth if the swimmer goes `turn_deg` away from the
    picture's plane, towards the camera or off it: heights stay, ways along the surface look
    shorter than they are, so that the angle is flatter than it looks.

    >>> told = flattened(45.0, 20.0)
    >>> round(told.least_deg, 1), told.most_deg
    (43.2, 45.0)
    """
    flat = math.degrees(
        math.atan(math.tan(math.radians(seen_deg)) * math.cos(math.radians(turn_deg)))
    )
    return Turned(turn_deg, min(flat, seen_deg), max(flat, seen_deg))
