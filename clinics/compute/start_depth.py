"""What others have published on the depth of water for head-first starts, beside the depth here.

Published limits differ, apply to different things and change; a depth that is below none of
them is still no leave to start. Nothing here says that anybody may. It says what was measured,
who published what and how that was seen; the pool's operator, the local code, the governing
body, and whoever is licensed to coach or teach starts decide.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from clinics.compute.errors import BadInput, Said
from clinics.compute.errors import say as _
from clinics.compute.start_limits import LIMITS, Limit

ZONE_FROM_M, ZONE_TO_M = 1.0, 6.0  # from the start wall: what FINA FR 2.3 has measured

DEFERENCE = _(
    "Others published these limits; they differ and they change. Whether anybody starts head"
    " first here, and how, is for the pool's operator, the local code and the governing body to"
    " say, and for a licensed coach or teacher to lead."
)


class Measured(StrEnum):
    WHOLE = "whole"
    PARTLY = "partly"
    NOT_MEASURED = "not-measured"


@dataclass(frozen=True)
class Depth:
    """The least depth between 1 and 6 m from the start wall, taken straight between points.

    `least_m` at `at_m`; None if nothing there was measured. `from_m` to `to_m`: what of the
    zone the points cover. `widest_gap_m`: the longest stretch of that without a point, in which
    the bottom may rise unseen.
    """

    state: Measured
    least_m: float | None = None
    at_m: float | None = None
    from_m: float | None = None
    to_m: float | None = None
    widest_gap_m: float | None = None


NOT_MEASURED = Depth(Measured.NOT_MEASURED)


class Against(StrEnum):
    """A depth beside one limit."""

    BELOW = "below"
    NOT_BELOW = "not-below"  # of this one limit; others say other things
    NOT_MEASURED = "not-measured"


class Height(StrEnum):
    """The block or edge beside the height up to which a limit is meant."""

    NONE_NAMED = "none-named"
    WITHIN = "within"
    HIGHER = "higher"  # the limit does not speak of so high a start
    NOT_SAID = "not-said"  # nobody said how high it is here


@dataclass(frozen=True)
class Compared:
    limit: Limit
    against: Against
    height: Height


@dataclass(frozen=True)
class StartDepth:
    """The depth here beside all limits, strictest first; none for a start in the water."""

    depth: Depth
    limits: tuple[Compared, ...]
    deference: Said = DEFERENCE


def start_depth(
    profile: Sequence[tuple[float, float]], *, block_height_m: float | None, start: str
) -> StartDepth:
    """`profile`: (x_m from the start wall, depth_m), in any order; empty: not measured."""
    depth = least_depth(profile)
    whole = depth.state is Measured.WHOLE
    return StartDepth(depth, limits_for(depth.least_m, block_height_m, start, whole=whole))


def limits_for(
    depth_m: float | None, block_height_m: float | None, start: str, *, whole: bool = True
) -> tuple[Compared, ...]:
    """Every published limit for a start from a `block` or the `edge`, strictest first, beside
    the depth here (None: not measured). `whole`: the depth is the least of the whole zone;
    else it can only be said of it that it is below a limit. `block_height_m`: of the block, or
    of the edge, above the water. A start in the `water` is not head first: no limits."""
    meant = [limit for limit in LIMITS if start in limit.starts]
    meant.sort(key=lambda limit: (-limit.depth_m, limit.key))
    return tuple(
        Compared(limit, _against(limit, depth_m, whole), _height(limit, block_height_m))
        for limit in meant
    )


def _against(limit: Limit, depth_m: float | None, whole: bool) -> Against:
    if depth_m is None:
        return Against.NOT_MEASURED
    if depth_m < limit.depth_m:
        return Against.BELOW
    return Against.NOT_BELOW if whole else Against.NOT_MEASURED


def _height(limit: Limit, block_height_m: float | None) -> Height:
    if limit.height_up_to_m is None:
        return Height.NONE_NAMED
    if block_height_m is None:
        return Height.NOT_SAID
    return Height.WITHIN if block_height_m <= limit.height_up_to_m else Height.HIGHER


def least_depth(profile: Iterable[tuple[float, float]]) -> Depth:
    """The least depth of the zone; BadInput names the points that cannot be meant.

    Nothing is guessed beyond the outermost points: then the zone is measured `partly`.

    >>> least_depth([(0.0, 1.0), (2.0, 2.0), (8.0, 2.0)])
    Depth(state=<Measured.WHOLE: 'whole'>, least_m=1.5, at_m=1.0, from_m=1.0, to_m=6.0, \
widest_gap_m=4.0)
    >>> least_depth([]).state.value
    'not-measured'
    """
    points = _in_order(profile)
    if not points:
        return NOT_MEASURED
    from_m, to_m = max(ZONE_FROM_M, points[0][0]), min(ZONE_TO_M, points[-1][0])
    if from_m > to_m:
        return NOT_MEASURED
    inside = [point for point in points if from_m < point[0] < to_m]
    zone = [(from_m, _depth_at(points, from_m)), *inside, (to_m, _depth_at(points, to_m))]
    at_m, least_m = min(zone, key=lambda point: point[1])
    whole = (from_m, to_m) == (ZONE_FROM_M, ZONE_TO_M)
    gap_m = max(after[0] - before[0] for before, after in itertools.pairwise(zone))
    state = Measured.WHOLE if whole else Measured.PARTLY
    return Depth(state, least_m, at_m, from_m, to_m, gap_m)


def _in_order(profile: Iterable[tuple[float, float]]) -> list[tuple[float, float]]:
    """Along the course; of two depths at one place the lesser."""
    wrong: list[tuple[str, str]] = []
    least: dict[float, float] = {}
    for number, (x_m, depth_m) in enumerate(profile, start=1):
        if not (math.isfinite(x_m) and 0 <= x_m <= 200):
            told = _("The distance from the start wall must be 0 to 200 m.")
            wrong.append((f"point {number}", told))
        elif not 0 < depth_m <= 20:
            told = _("The depth must be above 0 and at most 20 m.")
            wrong.append((f"point {number}", told))
        else:
            least[x_m] = min(depth_m, least.get(x_m, depth_m))
    if wrong:
        raise BadInput(wrong)
    return sorted(least.items())


def _depth_at(points: Sequence[tuple[float, float]], x_m: float) -> float:
    """Straight between the two points beside x, which lies within them."""
    for (x0, depth0), (x1, depth1) in itertools.pairwise(points):
        if x0 <= x_m <= x1:
            return depth0 + (depth1 - depth0) * (x_m - x0) / (x1 - x0)
    return points[0][1]
