"""When a swimmer is expected to go by a station: passes of a go in a pool of any length.

The swimmer is taken to swim at the expected pace from the start wall at x = 0 to the far
wall and back, the start being swim_s = 0. A dive and a push-off are quicker than that, and
paces are guesses: windows.py leaves room for both.
"""

from __future__ import annotations

from dataclasses import dataclass

START_SIDE, UNDERWATER, TURN_WINDOW, DECK = "start-side", "underwater", "turn-window", "deck"
NEAR_M = 1e-6
DECK_SEES_START_M = 15.0  # a deck camera that stands nearer to the start wall has it in picture
DECK_BEFORE_M = 5.0  # else it has the swimmer from this much before the place where it stands


@dataclass(frozen=True)
class Pass:
    """One time that a swim goes by a station.

    `at_s` is when the swimmer is expected at the station (at the wall, for a start or turn);
    `from_s` to `to_s` when they are expected in picture; all in swim_s. `what` is one of
    start, turn, touch, by (goes by), along (the camera goes along).
    """

    pass_no: int
    at_s: float
    from_s: float
    to_s: float
    what: str


# How far before and after the station (or its wall) the swimmer is in picture, in metres swum.
SEEN_M = {START_SIDE: (5.0, 6.0), UNDERWATER: (3.0, 3.0), TURN_WINDOW: (5.0, 6.0)}
START_SEEN_M = 10.0  # from the block to where the head comes up, near enough
START_SEEN_BEFORE_S = 1.0


def speed_m_per_s(pace_s_per_100m: float) -> float:
    """
    >>> speed_m_per_s(80.0)
    1.25
    """
    return 100.0 / pace_s_per_100m


def wall_distances_m(course_m: float, distance_m: float, *, far: bool) -> list[float]:
    """Distances swum at each turn on the far (or start) wall, end of the go not included.

    >>> wall_distances_m(25.0, 75.0, far=True), wall_distances_m(25.0, 75.0, far=False)
    ([25.0], [50.0])
    """
    first = course_m if far else 2 * course_m
    walls = []
    while first < distance_m - NEAR_M:
        walls.append(first)
        first += 2 * course_m
    return walls


def crossing_distances_m(course_m: float, distance_m: float, x_m: float) -> list[float]:
    """Distances swum each time that the swimmer goes by x, up to the end of the go.

    >>> crossing_distances_m(25.0, 75.0, 12.5)
    [12.5, 37.5, 62.5]
    """
    x_m = min(max(x_m, 0.0), course_m)
    crossings: list[float] = []
    length = 0
    while length * course_m < distance_m - NEAR_M:
        along = x_m if length % 2 == 0 else course_m - x_m
        at_m = length * course_m + along
        again = crossings and at_m - crossings[-1] < NEAR_M  # at a wall both lengths meet
        if NEAR_M < at_m <= distance_m + NEAR_M and not again:
            crossings.append(at_m)
        length += 1
    return crossings


def passes(
    *,
    kind: str,
    x_m: float,
    course_m: float,
    distance_m: float,
    pace_s_per_100m: float,
) -> list[Pass]:
    """The passes of a go at a station, numbered from 1 in order of time.

    Start side: pass 1 is the start; each turn at the start wall is one more. Underwater: each
    crossing of x. Turn window: each turn at the wall that it is nearer to; if the go has no
    turn there but ends there, that touch. Deck: one pass, from the start if it stands within
    15 m of the start wall, else from 5 m before it, to the end of the go.
    """
    speed = speed_m_per_s(pace_s_per_100m)
    if kind == START_SIDE:
        start_to_s = START_SEEN_M / speed
        found = [Pass(1, 0.0, -START_SEEN_BEFORE_S, start_to_s, "start")]
        turns = wall_distances_m(course_m, distance_m, far=False)
        return found + _by(kind, turns, speed, distance_m, "turn", first_no=2)
    if kind == TURN_WINDOW:
        far = x_m > course_m / 2
        turns = wall_distances_m(course_m, distance_m, far=far)
        lengths = distance_m / course_m
        ends_at_wall = abs(lengths - round(lengths)) < NEAR_M and (round(lengths) % 2 == 1) == far
        if turns or not ends_at_wall:
            return _by(kind, turns, speed, distance_m, "turn")
        return _by(kind, [distance_m], speed, distance_m, "touch")
    if kind == DECK:
        return [_along(x_m, distance_m, speed)]
    crossings = crossing_distances_m(course_m, distance_m, x_m)
    return _by(UNDERWATER, crossings, speed, distance_m, "by")


def _by(
    kind: str,
    at_m: list[float],
    speed: float,
    distance_m: float,
    what: str,
    first_no: int = 1,
) -> list[Pass]:
    before_m, after_m = SEEN_M[kind]
    return [
        Pass(
            pass_no=number,
            at_s=at / speed,
            from_s=max(at - before_m, 0.0) / speed,
            to_s=min(at + after_m, distance_m + after_m / 2) / speed,
            what=what,
        )
        for number, at in enumerate(at_m, start=first_no)
    ]


def _along(x_m: float, distance_m: float, speed: float) -> Pass:
    if x_m <= DECK_SEES_START_M:
        return Pass(1, 0.0, -START_SEEN_BEFORE_S, distance_m / speed, "along")
    from_m = min(max(x_m - DECK_BEFORE_M, 0.0), distance_m / 2)
    return Pass(1, min(x_m, distance_m) / speed, from_m / speed, distance_m / speed, "along")
