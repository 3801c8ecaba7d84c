"""The body's centre of mass from points marked on a frame; a part of which a point is missing is
named, and never guessed."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from feedback.compute.measuring.body.tables import IN_THE_MIDDLE, At, Part, Side

Point = tuple[float, float]
Place = tuple[At, Side | None]
"""A point of the body; `None` as its side for what lies in the middle."""


@dataclass(frozen=True)
class Missing:
    """A part without its points. `side` is None for head and trunk."""

    part: str
    side: Side | None
    points: tuple[At, ...]


@dataclass(frozen=True)
class Centre:
    """`at`: of the parts that are there, in the points' unit; None if none is. `share`: how much
    of the body's mass they are, in parts of 1. `clicks`: how much of each marked point's error
    is in the centre, so that errors can be carried on."""

    at: Point | None
    share: float
    missing: tuple[Missing, ...]
    clicks: Mapping[Place, float]

    @property
    def whole(self) -> bool:
        return not self.missing

    def u(self, click_u: float) -> float:
        """Standard uncertainty along each axis, if each point is off by `click_u` by itself."""
        return click_u * math.sqrt(math.fsum(c * c for c in self.clicks.values()))


def centre_of(part: Part, first: Point, last: Point) -> Point:
    """Of one part.

    >>> from feedback.compute.measuring.body.tables import WINTER
    >>> x, y = centre_of(WINTER[4], (0.864, 0.549), (0.849, 0.110))
    >>> round(x, 6), round(y, 6)
    (0.857505, 0.358913)
    """
    a = part.along
    return (first[0] + a * (last[0] - first[0]), first[1] + a * (last[1] - first[1]))


def centre_of_mass(points: Mapping[Place, Point], table: Sequence[Part]) -> Centre:
    """Weighted by the shares of the parts that are there, divided by their sum: published shares
    add up to 1 only to within rounding.

    The middle of shoulders and hips is taken between both sides' joints where it is not marked.
    """
    known = _with_middles(points)
    x = y = share = 0.0
    missing: list[Missing] = []
    weights: dict[Place, float] = {}
    for part in table:
        for side in (Side.LEFT, Side.RIGHT) if part.two else (None,):
            ends = [(at, None if at in IN_THE_MIDDLE else side) for at in (part.first, part.last)]
            gone = tuple(at for at, its in ends if (at, its) not in known)
            if gone:
                missing.append(Missing(part.name, side, gone))
                continue
            at = centre_of(part, known[ends[0]], known[ends[1]])
            x, y, share = x + part.share * at[0], y + part.share * at[1], share + part.share
            for end, by in zip(ends, (1 - part.along, part.along), strict=True):
                _weigh(weights, end, part.share * by, points)
    if share == 0:
        return Centre(None, 0.0, tuple(missing), {})
    clicks = {place: weight / share for place, weight in weights.items()}
    return Centre((x / share, y / share), share, tuple(missing), clicks)


_MIDDLES = {At.SHOULDERS: At.SHOULDER, At.HIPS: At.HIP}


def _with_middles(points: Mapping[Place, Point]) -> dict[Place, Point]:
    known = dict(points)
    for middle, joint in _MIDDLES.items():
        left, right = points.get((joint, Side.LEFT)), points.get((joint, Side.RIGHT))
        if (middle, None) not in known and left and right:
            known[middle, None] = ((left[0] + right[0]) / 2, (left[1] + right[1]) / 2)
    return known


def _weigh(
    weights: dict[Place, float], place: Place, by: float, points: Mapping[Place, Point]
) -> None:
    if place in points:
        weights[place] = weights.get(place, 0.0) + by
        return
    for side in Side:  # a middle that was taken between two joints
        joint = (_MIDDLES[place[0]], side)
        weights[joint] = weights.get(joint, 0.0) + by / 2
