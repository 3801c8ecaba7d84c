"""Angles between points of a picture, and what one view cannot know of them.

Points are (x, y) with y downward as in a picture, or metres of a plane with `y_up`. All angles
are in degrees. An angle from one view is "as seen": `turned` says what it would be if the limb's
plane were turned away from the picture by some degrees.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

Point = tuple[float, float]
TURNS_DEG = (10.0, 20.0)
_AXES = 36  # directions of the axis about which the limb is turned, over half a circle


def segment_deg(tail: Point, tip: Point, *, y_up: bool = False) -> float:
    """Direction from tail to tip: 0 to the right, 90 upward, in (-180, 180].

    ValueError for two points at one place.

    >>> segment_deg((0, 0), (1, -1)), segment_deg((0, 0), (1, 1), y_up=True)
    (45.0, 45.0)
    """
    dx, dy = tip[0] - tail[0], tip[1] - tail[1]
    if dx == dy == 0:
        raise ValueError("two points at one place have no direction")
    up = dy if y_up else -dy
    found = math.degrees(math.atan2(up, dx))
    return 180.0 if found == -180.0 else found


def joint_deg(one: Point, joint: Point, other: Point) -> float:
    """The angle at `joint`, 0 to 180; a straight limb has 180.

    >>> round(joint_deg((1.80, 1.00), (1.70, 0.74), (1.45, 0.66)), 4)
    128.7822
    """
    a, b = segment_deg(joint, one), segment_deg(joint, other)
    apart = abs(a - b) % 360
    return 360 - apart if apart > 180 else apart


def to_surface_deg(front: Point, back: Point, level: tuple[Point, Point] | None = None) -> float:
    """Entry angle and trunk inclination: of the line from `back` to `front` to the water's
    surface, positive with the front lower, 0 to ± 90 whichever way the swimmer goes.

    `level`: two points of the surface or of a line that is level, since a camera seldom is.

    >>> round(to_surface_deg((3, 3), (1, 1)), 6), round(to_surface_deg((1, 3), (3, 1)), 6)
    (45.0, 45.0)
    """
    run, drop = front[0] - back[0], front[1] - back[1]
    if level is not None:
        (x0, y0), (x1, y1) = sorted(level)
        tilt = math.atan2(y1 - y0, x1 - x0)
        run, drop = (
            run * math.cos(tilt) + drop * math.sin(tilt),
            drop * math.cos(tilt) - run * math.sin(tilt),
        )
    if run == drop == 0:
        raise ValueError("two points at one place have no direction")
    return math.degrees(math.atan2(drop, abs(run)))


@dataclass(frozen=True)
class Turned:
    """What an angle `as seen` could be in truth if its plane were turned by `turn_deg` out of
    the picture, about whichever axis: from `least_deg` to `most_deg`."""

    turn_deg: float
    least_deg: float
    most_deg: float


def turned(one: Point, joint: Point, other: Point, turn_deg: float) -> Turned:
    """A plane turned about an axis is foreshortened across it by the cosine of the turn; this
    is undone for axes in all directions.

    >>> told = turned((0, 0), (1, 0), (1, 1), 20.0)
    >>> round(told.least_deg, 1), round(told.most_deg, 1)
    (86.4, 93.6)
    """
    if not 0 <= turn_deg < 90:
        raise ValueError("a turn of 0 to 90 degrees")
    found = [_unturned(one, joint, other, turn_deg, n * math.pi / _AXES) for n in range(_AXES)]
    seen = joint_deg(one, joint, other)
    return Turned(turn_deg, min([*found, seen]), max([*found, seen]))


def _unturned(one: Point, joint: Point, other: Point, turn_deg: float, axis: float) -> float:
    along = math.cos(axis), math.sin(axis)
    stretch = 1 / math.cos(math.radians(turn_deg))

    def true(point: Point) -> Point:
        x, y = point[0] - joint[0], point[1] - joint[1]
        on = x * along[0] + y * along[1]
        across_x, across_y = x - on * along[0], y - on * along[1]
        return on * along[0] + across_x * stretch, on * along[1] + across_y * stretch

    return joint_deg(true(one), (0.0, 0.0), true(other))


def unwrapped(series_deg: Sequence[float]) -> list[float]:
    """A series of directions without its jumps of 360.

    >>> unwrapped([170.0, -170.0, -150.0])
    [170.0, 190.0, 210.0]
    """
    made: list[float] = []
    for one in series_deg:
        last = made[-1] if made else one
        made.append(one + 360.0 * round((last - one) / 360.0))
    return made
