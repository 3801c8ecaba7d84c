"""What each station's camera sees of the pool, true to scale, and whether that will do.

Places are those of the pool plan (see sight.py): metres along, across and above the water.
A finding is data for a page to say in words: what was looked at, whether somebody should look
at it too, and its numbers.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

from clinics.compute import sight
from clinics.compute.geometry import DECK, START_SIDE, TURN_WINDOW, UNDERWATER
from clinics.compute.sight import (
    NEAR_M,
    START_FROM_M,
    START_TO_M,
    WALL_ROOM_M,
    Pool,
    Port,
    Sight,
    Stand,
    sight_of,
)
from clinics.compute.sound import HORN_HEIGHT_M, travel_s

SWIMMER_M = 2.3  # a swimmer with arms stretched: common practice, no source
DECK_PLACE_M = 25.0  # where a deck camera stands from the start: common practice, no source
DECK_ROOM_M = 5.0  # “about” there: our choice
CLIMB_ALONG_M, CLIMB_BACK_M = 3.0, 1.5  # room to climb out, beside and behind: our choice


@dataclass(frozen=True)
class Cone:
    """`polygon`: corners in order, in metres; empty if the camera looks away from the pool."""

    key: str
    sight: Sight
    polygon: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Span:
    """From and to, along the course."""

    from_m: float
    to_m: float


_Plane = tuple[float, float, float]  # where a * x + b * y + c >= 0


def cone(stand: Stand, pool: Pool, *, reach_m: float | None = None) -> Cone:
    """What the camera sees, clipped to the water if it looks through water, else to pool and
    deck; with `reach_m` no farther than that, along its axis."""
    seen = sight_of(stand, pool)
    polygon = _region(stand, pool)
    for plane in _planes(stand, seen, reach_m):
        polygon = list(_clipped(polygon, plane))
    return Cone(stand.key, seen, tuple(polygon) if len(set(polygon)) > 2 else ())


def lane_seen(stand: Stand, pool: Pool) -> Span | None:
    """How much of the swum lane's middle line is in picture; None: nothing of it."""
    region = _region(stand, pool)
    low, high = min(x for x, _y in region), max(x for x, _y in region)
    for a, b, c in _planes(stand, sight_of(stand, pool), None):
        rest = b * pool.swum_y_m + c
        if abs(a) < NEAR_M:
            if rest < -NEAR_M:
                return None
        elif a > 0:
            low = max(low, -rest / a)
        else:
            high = min(high, -rest / a)
    return Span(low, high) if high - low > NEAR_M else None


def _region(stand: Stand, pool: Pool) -> list[tuple[float, float]]:
    margin = 0.0
    if stand.through is Port.AIR:  # and whoever stands farther out is still on the plan
        out_m = (-stand.x_m, stand.x_m - pool.course_m, -stand.y_m, stand.y_m - pool.width_m)
        margin = max(pool.deck_m, *out_m)
    left, right = 0.0 - margin, pool.course_m + margin
    top, bottom = 0.0 - margin, pool.width_m + margin
    return [(left, top), (right, top), (right, bottom), (left, bottom)]


def _planes(stand: Stand, seen: Sight, reach_m: float | None) -> list[_Plane]:
    """The two sides of the cone (an angle below 180° is what both half-planes share), and how
    far it reaches."""
    axis, half = math.radians(seen.bearing_deg), math.radians(seen.plan_angle_deg) / 2
    sides = [(-math.sin(axis - half), math.cos(axis - half))]
    sides.append((math.sin(axis + half), -math.cos(axis + half)))
    planes = [(a, b, -a * stand.x_m - b * stand.y_m) for a, b in sides]
    if reach_m is not None:
        a, b = -math.cos(axis), -math.sin(axis)
        planes.append((a, b, reach_m - a * stand.x_m - b * stand.y_m))
    return planes


def _clipped(
    polygon: Sequence[tuple[float, float]], plane: _Plane
) -> Iterator[tuple[float, float]]:
    """The part of a convex polygon on one side of a line (Sutherland and Hodgman 1974)."""
    a, b, c = plane
    depths = [a * x + b * y + c for x, y in polygon]
    for n, (x, y) in enumerate(polygon):
        (x0, y0), before, here = polygon[n - 1], depths[n - 1], depths[n]
        if before * here < 0:
            share = before / (before - here)
            yield x0 + share * (x - x0), y0 + share * (y - y0)
        if here >= 0:
            yield x, y


class Check(StrEnum):
    """What is looked at. After each: its numbers, by name."""

    LANE = "lane"  # from_m, to_m of the swum lane in picture; none if it sees nothing of it
    FIELD = "field"  # width_m at distance_m, need_m; where it falls short FIELD_HELP too
    LANE_AWAY = "lane-away"  # distance_m to the swum lane's middle, need_m
    ROPES = "ropes"  # count of `ropes` that lie between and stay in
    START = "start"  # from_m, to_m in picture, need_from_m, need_to_m
    DECK_PLACE = "deck-place"  # x_m, usual_m, room_m
    WALL = "wall"  # off_m the nearer end wall, room_m
    CLIMB_OUT = "climb-out"  # out_m where they climb out, along_m from it, back_m off the edge
    SOUND = "sound"  # distance_m to the starter, delay_ms


# distance_needed_m; angle_needed_deg of the lens in air, unless no lens will do; under water
# rope_needed: at which rope it would stand far enough away, if there is one.
FIELD_HELP = ("distance_needed_m", "angle_needed_deg", "rope_needed")


class State(StrEnum):
    OK = "ok"
    LOOK = "look"  # somebody should look at it


@dataclass(frozen=True)
class Finding:
    """One thing about one station. Nothing here says that anything may be done."""

    key: str
    check: Check
    state: State
    numbers: Mapping[str, float]
    ropes: tuple[int, ...] = ()


def findings(
    stands: Sequence[Stand],
    pool: Pool,
    *,
    distance_m: float,
    starter_m: tuple[float, float],
    air_temperature_c: float,
    ropes_out: Collection[int] = (),
) -> tuple[Finding, ...]:
    """What can be said of each station, in their order. `distance_m`: swum in one go, which
    says where swimmers climb out. `ropes_out`: ropes that the plan already takes out."""
    found: list[Finding] = []
    for stand in stands:
        span = lane_seen(stand, pool)
        found.append(_lane(stand, span))
        if stand.kind == UNDERWATER:
            found += [_lane_away(stand, pool), _ropes(stand, pool, ropes_out)]
        if stand.kind in (UNDERWATER, DECK):
            found += _field(stand, pool)
        if stand.kind == START_SIDE and span:
            found.append(_start(stand, span))
        if stand.kind == DECK:
            found.append(_deck_place(stand, pool))
        if stand.kind == TURN_WINDOW:
            found.append(_wall(stand, pool, span))
        else:
            found.append(_climb_out(stand, pool, distance_m))
        if stand.hears_start:
            found.append(_sound(stand, starter_m, air_temperature_c))
    return tuple(found)


def _finding(
    stand: Stand,
    check: Check,
    ok: bool,
    numbers: Mapping[str, float],
    ropes: tuple[int, ...] = (),
) -> Finding:
    state = State.OK if ok else State.LOOK
    return Finding(stand.key, check, state, MappingProxyType(dict(numbers)), ropes)


def _lane(stand: Stand, span: Span | None) -> Finding:
    told = {} if span is None else {"from_m": span.from_m, "to_m": span.to_m}
    return _finding(stand, Check.LANE, span is not None, told)


def _lane_away(stand: Stand, pool: Pool) -> Finding:
    """At least one lane away: common practice, no source."""
    away_m = abs(stand.y_m - pool.swum_y_m)
    told = {"distance_m": away_m, "need_m": pool.lane_m}
    return _finding(stand, Check.LANE_AWAY, away_m >= pool.lane_m - NEAR_M, told)


def _ropes(stand: Stand, pool: Pool, ropes_out: Collection[int]) -> Finding:
    """A rope between camera and swum lane hides the swimmer; one at which it stands does not."""
    between = range(1, max(pool.lanes, 1))
    ropes = tuple(n for n in between if n * pool.lane_m < stand.y_m - NEAR_M and n not in ropes_out)
    return _finding(stand, Check.ROPES, not ropes, {"count": len(ropes)}, ropes)


def _field(stand: Stand, pool: Pool) -> list[Finding]:
    """Only of a camera that looks more across than along: there a swimmer fills the width."""
    seen = sight_of(stand, pool)
    if seen.distance_m is None or seen.width_m is None:
        return []
    if abs(math.sin(math.radians(seen.bearing_deg))) < math.sqrt(0.5):
        return []
    told = {"width_m": seen.width_m, "distance_m": seen.distance_m, "need_m": SWIMMER_M}
    if seen.width_m < SWIMMER_M:
        told |= _field_help(stand, pool, seen.angle_deg, seen.distance_m, seen.bearing_deg)
    return [_finding(stand, Check.FIELD, seen.width_m >= SWIMMER_M, told)]


def _field_help(
    stand: Stand, pool: Pool, angle_deg: float, distance_m: float, bearing_deg: float
) -> dict[str, float]:
    needed_m = sight.distance_for_width_m(width_m=SWIMMER_M, angle_deg=angle_deg)
    told = {"distance_needed_m": needed_m}
    wide_deg = sight.angle_for_width_deg(width_m=SWIMMER_M, distance_m=distance_m)
    if wide_deg <= sight.seen_angle_deg(sight.MOST_ANGLE_DEG, stand.through):
        told["angle_needed_deg"] = sight.lens_angle_deg(wide_deg, stand.through)
    across_m = needed_m * abs(math.sin(math.radians(bearing_deg)))
    rope = math.ceil((across_m + pool.swum_y_m) / pool.lane_m - NEAR_M)
    if stand.kind == UNDERWATER and rope < pool.lanes:
        told["rope_needed"] = float(rope)
    return told


def _start(stand: Stand, span: Span) -> Finding:
    ok = span.from_m <= START_FROM_M and span.to_m >= START_TO_M
    told = {"from_m": span.from_m, "to_m": span.to_m}
    told |= {"need_from_m": START_FROM_M, "need_to_m": START_TO_M}
    return _finding(stand, Check.START, ok, told)


def _deck_place(stand: Stand, pool: Pool) -> Finding:
    usual_m = min(DECK_PLACE_M, pool.course_m)
    told = {"x_m": stand.x_m, "usual_m": usual_m, "room_m": DECK_ROOM_M}
    return _finding(stand, Check.DECK_PLACE, abs(stand.x_m - usual_m) <= DECK_ROOM_M, told)


def _wall(stand: Stand, pool: Pool, span: Span | None) -> Finding:
    """At the wall, or, from the side, with the wall in picture."""
    wall_m = 0.0 if stand.x_m <= pool.course_m / 2 else pool.course_m
    off_m = abs(stand.x_m - wall_m)
    in_picture = span is not None and span.from_m <= wall_m <= span.to_m
    told = {"off_m": off_m, "room_m": WALL_ROOM_M}
    return _finding(stand, Check.WALL, off_m <= WALL_ROOM_M or in_picture, told)


def end_x_m(course_m: float, distance_m: float) -> float:
    """Where a go ends.

    >>> end_x_m(50.0, 75.0), end_x_m(25.0, 75.0)
    (25.0, 25.0)
    """
    swum_m = distance_m % (2 * course_m)
    return swum_m if swum_m <= course_m else 2 * course_m - swum_m


def _climb_out(stand: Stand, pool: Pool, distance_m: float) -> Finding:
    """Nobody stands where swimmers climb out: at the side, where their go ends."""
    out_m, back_m = end_x_m(pool.course_m, distance_m), 0.0 - stand.y_m
    along_m = abs(stand.x_m - out_m)
    ok = along_m >= CLIMB_ALONG_M or back_m >= CLIMB_BACK_M or stand.y_m > pool.lane_m
    told = {"out_m": out_m, "along_m": along_m, "back_m": back_m}
    return _finding(stand, Check.CLIMB_OUT, ok, told)


def _sound(stand: Stand, starter_m: tuple[float, float], celsius: float) -> Finding:
    horn, here = (*starter_m, HORN_HEIGHT_M), (stand.x_m, stand.y_m, stand.z_m)
    delay_ms = 1000 * travel_s(horn, here, celsius)
    told = {"distance_m": math.dist(horn, here), "delay_ms": delay_ms}
    return _finding(stand, Check.SOUND, True, told)
