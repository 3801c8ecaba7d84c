"""Two swims side by side: which of their views belong together, and what differs between them
for another reason than the swimming."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

PLACE_APART_M = 0.5  # a camera that stood farther off than this shows the swimmer otherwise
RATE_APART = 0.01  # 59.94 and 60 frames/s are the same to look at, 24 and 25 are not


@dataclass(frozen=True)
class View:
    """A view of a swim. `place_m`: x, y, z of its station; `from_s` and `to_s` (swim time): what
    its clip covers. `state` of its time: `sure`, `look`, `unknown`."""

    key: str
    station: str
    kind: str
    pass_no: int
    place_m: tuple[float, float, float]
    frames_per_s: float
    state: str
    from_s: float
    to_s: float


@dataclass(frozen=True)
class Swum:
    """What of a swim is compared."""

    stroke: str
    start: str
    course_m: float
    distance_m: float
    views: tuple[View, ...]


Pair = tuple[View, View]


def pair_views(left: Sequence[View], right: Sequence[View]) -> list[Pair]:
    """Views of the same kind of station and the same pass, in the left one's order; where a
    clinic had several of a kind, those that stood nearest. Each belongs to one pair at most."""
    near = sorted(
        (
            (math.dist(one.place_m, other.place_m), m, n)
            for m, one in enumerate(left)
            for n, other in enumerate(right)
            if (one.kind, one.pass_no) == (other.kind, other.pass_no)
        ),
    )
    chosen: dict[int, int] = {}
    for _, m, n in near:
        if m not in chosen and n not in chosen.values():
            chosen[m] = n
    return [(left[m], right[chosen[m]]) for m in sorted(chosen)]


def opening_pair(
    pairs: Sequence[Pair], at_s: tuple[float, float], marked_in: tuple[str, str] = ("", "")
) -> Pair | None:
    """The pair whose clips hold the event, before others the one in which it was marked; else
    the one nearest to it."""

    def beyond_s(pair: Pair) -> float:
        return sum(
            max(view.from_s - at, at - view.to_s, 0.0) for view, at in zip(pair, at_s, strict=True)
        )

    def unmarked(pair: Pair) -> int:
        return sum(view.key != key for view, key in zip(pair, marked_in, strict=True))

    return min(pairs, key=lambda pair: (beyond_s(pair), unmarked(pair)), default=None)


class What(StrEnum):
    """What differs between two swims."""

    STROKE = "stroke"
    START = "start"
    COURSE = "course"
    DISTANCE = "distance"
    PLACE = "place"  # the camera stood elsewhere
    FRAMES = "frames"
    TIME = "time"  # not sure on one side at least
    ONLY = "only"  # only one of the swims has such a view


@dataclass(frozen=True)
class Difference:
    """`views`: of which views it is said; None on the side that has none."""

    what: What
    views: tuple[View | None, View | None] = (None, None)
    apart_m: float = 0.0


def differences(left: Swum, right: Swum, pairs: Sequence[Pair]) -> list[Difference]:
    """All that makes the pictures differ for another reason than the swimming. A camera that
    shows several passes is told about once."""
    found = [
        Difference(what)
        for what, same in (
            (What.STROKE, left.stroke == right.stroke),
            (What.START, left.start == right.start),
            (What.COURSE, math.isclose(left.course_m, right.course_m, abs_tol=0.01)),
            (What.DISTANCE, math.isclose(left.distance_m, right.distance_m, abs_tol=0.01)),
        )
        if not same
    ]
    told = {(one.station, other.station): (one, other) for one, other in reversed(pairs)}
    for pair in (pair for pair in pairs if told[pair[0].station, pair[1].station] == pair):
        found += _of_pair(*pair)
    unsure = (p for p in pairs if {p[0].state, p[1].state} != {"sure"})
    found += [Difference(What.TIME, pair) for pair in unsure]
    paired = {view.key for pair in pairs for view in pair}
    found += [Difference(What.ONLY, (v, None)) for v in left.views if v.key not in paired]
    found += [Difference(What.ONLY, (None, v)) for v in right.views if v.key not in paired]
    return found


def _of_pair(one: View, other: View) -> list[Difference]:
    found = []
    apart_m = math.dist(one.place_m, other.place_m)
    if apart_m > PLACE_APART_M:
        found.append(Difference(What.PLACE, (one, other), apart_m))
    if not math.isclose(one.frames_per_s, other.frames_per_s, rel_tol=RATE_APART):
        found.append(Difference(What.FRAMES, (one, other)))
    return found
