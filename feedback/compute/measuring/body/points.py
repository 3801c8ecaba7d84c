"""Points of a body as they are set on a frame: their names, which are set for what, the lines
between them, and what cannot be right about them.

A point is (x, y) in parts of the picture's width and height, (0, 0) its top left, with a third
number: how many pixels of the picture one pixel of the screen covered when it was set. On a small
screen a hand is no surer than that.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from feedback.compute.measuring.body.centre import Place, Point
from feedback.compute.measuring.body.tables import IN_THE_MIDDLE, At, Side

LEVEL = ("level-1", "level-2")  # two points of a line that is level: no points of the body
MOST_COARSE = 50.0  # pixels of the picture under one of the screen: more is no screen
SAME_PX = 1.0
SHORTEST_LEVEL_PX = 8.0
STEEPEST_LEVEL_DEG = 45.0

Given = tuple[float, float, float]


class Fault(StrEnum):
    NUMBER = "number"  # no pairs of numbers
    UNKNOWN = "unknown"  # no such point
    OUTSIDE = "outside"  # beyond the picture
    ONE_PLACE = "one-place"  # different points, all at one place
    SHORT_LEVEL = "short-level"
    STEEP_LEVEL = "steep-level"


class PointsWrong(ValueError):
    """These are no points of a body; `fault` says why, `names` which."""

    def __init__(self, fault: Fault, names: Sequence[str] = ()) -> None:
        super().__init__(f"{fault}: {', '.join(names)}")
        self.fault, self.names = fault, tuple(names)


@dataclass(frozen=True)
class Click:
    """A point in pixels of the picture, y downward. `finest_px`: what a pixel of the screen
    covered, at least 1."""

    x: float
    y: float
    finest_px: float

    @property
    def at(self) -> Point:
        return self.x, self.y


@dataclass(frozen=True)
class OnPicture:
    """`level` only where both of its ends are set."""

    clicks: Mapping[Place, Click]
    level: tuple[Click, Click] | None


def name_of(place: Place) -> str:
    """
    >>> name_of((At.ELBOW, Side.LEFT)), name_of((At.NECK, None))
    ('elbow-left', 'neck')
    """
    at, side = place
    return at.value if side is None else f"{at.value}-{side.value}"


PLACES: dict[str, Place] = {
    name_of(place): place
    for at in At
    for place in ([(at, None)] if at in IN_THE_MIDDLE else [(at, side) for side in Side])
}


class For(StrEnum):
    """What points are set for."""

    ENTRY = "entry"
    TRUNK = "trunk"
    ARM = "arm"
    LEG = "leg"
    WHOLE = "whole"


_ARM = (At.SHOULDER, At.ELBOW, At.WRIST, At.FINGERTIP)
_LEG = (At.HIP, At.KNEE, At.ANKLE, At.HEEL, At.TOE)
_MIDDLES = (At.VERTEX, At.NECK, At.SHOULDERS, At.HIPS)
_NEEDED: dict[For, tuple[At, ...]] = {
    For.ENTRY: (At.FINGERTIP, At.VERTEX, At.SHOULDER, At.HIP, At.KNEE, At.ANKLE),
    For.TRUNK: _MIDDLES,
    For.ARM: (At.HIP, *_ARM),
    For.LEG: (At.SHOULDER, At.HIP, At.KNEE, At.ANKLE, At.TOE),
    For.WHOLE: (*_MIDDLES, *_ARM, *_LEG),
}
_WITH_LEVEL = (For.ENTRY, For.TRUNK, For.WHOLE)


def needed(what: For, near: Side) -> list[str]:
    """Names in the order in which they are set. `near`: the side that the camera sees; of the
    whole body the other one's limbs come after it.

    >>> needed(For.ARM, Side.LEFT)
    ['hip-left', 'shoulder-left', 'elbow-left', 'wrist-left', 'fingertip-left']
    """
    order = [name_of((at, None if at in IN_THE_MIDDLE else near)) for at in _NEEDED[what]]
    if what is For.WHOLE:
        far = Side.RIGHT if near is Side.LEFT else Side.LEFT
        order += [name_of((at, far)) for at in (*_ARM, *_LEG)]
    return order + (list(LEVEL) if what in _WITH_LEVEL else [])


LINES: list[tuple[str, str]] = [
    ("vertex", "neck"),
    ("neck", "shoulders"),
    ("shoulders", "hips"),
    *(
        (f"{one}-{side}", f"{other}-{side}")
        for side in Side
        for one, other in (
            *(("shoulder", "elbow"), ("elbow", "wrist"), ("wrist", "fingertip")),
            *(("shoulder", "hip"), ("hip", "knee"), ("knee", "ankle")),
            *(("ankle", "heel"), ("heel", "toe"), ("ankle", "toe")),
        )
    ),
    LEVEL,
]
"""What is joined over the picture where both ends are set."""


def cleaned(given: object, width: int, height: int) -> dict[str, Given]:
    """As they are kept. Raises PointsWrong; nothing given is nothing kept."""
    if not isinstance(given, Mapping):
        raise PointsWrong(Fault.NUMBER)
    unknown = [_told(name) for name in given if name not in PLACES and name not in LEVEL]
    if unknown:
        raise PointsWrong(Fault.UNKNOWN, sorted(unknown)[:5])
    kept = {name: _point(name, point) for name, point in given.items()}
    outside = [name for name, (x, y, _) in kept.items() if not (0 <= x <= 1 and 0 <= y <= 1)]
    if outside:
        raise PointsWrong(Fault.OUTSIDE, outside)
    found = on_picture(kept, width, height)
    if _at_one_place(found.clicks):
        raise PointsWrong(Fault.ONE_PLACE, [name_of(place) for place in found.clicks])
    if found.level:
        _refuse_level(*found.level)
    return kept


def on_picture(kept: Mapping[str, Sequence[float]], width: int, height: int) -> OnPicture:
    """In pixels. A third number that is missing counts as 1."""
    clicks = {
        name: Click(x * width, y * height, max(1.0, *finest, 1.0))
        for name, (x, y, *finest) in kept.items()
    }
    ends = [clicks[name] for name in LEVEL if name in clicks]
    its = {PLACES[name]: click for name, click in clicks.items() if name in PLACES}
    return OnPicture(its, (ends[0], ends[1]) if len(ends) == len(LEVEL) else None)


def _told(name: object) -> str:
    """As it can be said again: JSON may hold halves of characters, which no page can be sent with.

    >>> _told("ear\\ud800")
    'ear?'
    """
    return str(name)[:40].encode("utf-8", "replace").decode()


def _point(name: str, point: object) -> Given:
    if not isinstance(point, list | tuple) or not 2 <= len(point) <= 3:
        raise PointsWrong(Fault.NUMBER, [name])
    x, y, finest = (*(_number(name, one) for one in point), 1.0)[:3]
    if not 0 < finest <= MOST_COARSE:
        raise PointsWrong(Fault.NUMBER, [name])
    return round(x, 6), round(y, 6), round(max(1.0, finest), 2)


def _number(name: str, given: object) -> float:
    """Python reads numbers of any length, and some that are none."""
    if not isinstance(given, int | float) or isinstance(given, bool) or not abs(given) < 1e9:
        raise PointsWrong(Fault.NUMBER, [name])
    return float(given)


_BESIDE = {At.SHOULDERS: At.SHOULDER, At.HIPS: At.HIP}  # may lie over each other


def _at_one_place(clicks: Mapping[Place, Click]) -> bool:
    """Both sides of a joint may lie over each other; a whole limb does not."""
    if len({_BESIDE.get(at, at) for at, _side in clicks}) < 2:
        return False
    first = next(iter(clicks.values()))
    return all(math.dist(first.at, one.at) < SAME_PX for one in clicks.values())


def _refuse_level(one: Click, other: Click) -> None:
    run, drop = abs(other.x - one.x), abs(other.y - one.y)
    if math.hypot(run, drop) < SHORTEST_LEVEL_PX:
        raise PointsWrong(Fault.SHORT_LEVEL, LEVEL)
    if math.degrees(math.atan2(drop, run)) > STEEPEST_LEVEL_DEG:
        raise PointsWrong(Fault.STEEP_LEVEL, LEVEL)
