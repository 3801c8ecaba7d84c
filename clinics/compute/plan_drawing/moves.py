"""Moving a station on the plan: where one of its kind may stand.

- Underwater: in the water, its edges among it.
- Turn window: in the water, or up to 1 m behind a wall, where somebody stands at a window.
- Start side and deck: on the deck, the water's edge among it. A move that would end over the
  water ends at the edge on whose side the station was, so that no key press jumps a narrow pool.
A station that stands where it may not comes in by its first move. What a camera is aimed at
stays; so does its height.
"""

from __future__ import annotations

import math
from dataclasses import replace

from clinics.compute.geometry import DECK, START_SIDE, TURN_WINDOW, UNDERWATER
from clinics.compute.plan_drawing.scale import rounded
from clinics.compute.sight import WALL_ROOM_M, Pool, Stand

STEP_M, BIG_STEP_M = 0.1, 1.0  # an arrow key, and with the shift key
SNAP_M = 0.3
ROOM_M = {UNDERWATER: 0.0, TURN_WINDOW: WALL_ROOM_M}


def moved(stand: Stand, dx_m: float, dy_m: float, pool: Pool) -> Stand:
    """The stand `dx_m` farther along and `dy_m` farther across, or as far as it may.

    ValueError for a kind that no station has, or a move that is no number.

    >>> pool = Pool(course_m=25.0, lanes=4)
    >>> deck = moved(Stand("d", "deck", 20.0, -0.5, 1.6), STEP_M, BIG_STEP_M, pool)
    >>> deck.x_m, deck.y_m
    (20.1, 0.0)
    """
    x_m, y_m = stand.x_m + dx_m, stand.y_m + dy_m
    if not (math.isfinite(x_m) and math.isfinite(y_m)):
        raise ValueError("a station moves by a number of metres")
    if stand.kind in ROOM_M:
        x_m, y_m = _within(x_m, y_m, pool, ROOM_M[stand.kind])
    elif stand.kind in (START_SIDE, DECK):
        x_m, y_m = _on_deck(stand, *_within(x_m, y_m, pool, pool.deck_m), pool)
    else:
        raise ValueError(f"no station is of the kind {stand.kind!r}")
    return replace(stand, x_m=rounded(x_m), y_m=rounded(y_m))


def snapped(stand: Stand, pool: Pool) -> Stand:
    """A turn window within 0.3 m of a wall, at the wall; in a corner, at both. Others as they
    stand. Meant for where a drag ends: an arrow key could never leave the wall again."""
    if stand.kind != TURN_WINDOW:
        return stand
    x_m, y_m = _near(stand.x_m, pool.course_m), _near(stand.y_m, pool.width_m)
    return replace(stand, x_m=rounded(x_m), y_m=rounded(y_m))


def _near(value_m: float, end_m: float) -> float:
    wall_m = min((0.0, end_m), key=lambda wall: abs(value_m - wall))
    return wall_m if abs(value_m - wall_m) <= SNAP_M + 1e-9 else value_m


def _within(x_m: float, y_m: float, pool: Pool, room_m: float) -> tuple[float, float]:
    return (
        min(max(x_m, -room_m), pool.course_m + room_m),
        min(max(y_m, -room_m), pool.width_m + room_m),
    )


def _on_deck(was: Stand, x_m: float, y_m: float, pool: Pool) -> tuple[float, float]:
    """The nearest of the edges on whose side the station was, of all four if it was afloat; of
    two as near, the swum lane's side goes first."""
    if not (0 < x_m < pool.course_m and 0 < y_m < pool.width_m):
        return x_m, y_m
    edges = (
        (was.y_m <= 0, y_m, (x_m, 0.0)),
        (was.y_m >= pool.width_m, pool.width_m - y_m, (x_m, pool.width_m)),
        (was.x_m <= 0, x_m, (0.0, y_m)),
        (was.x_m >= pool.course_m, pool.course_m - x_m, (pool.course_m, y_m)),
    )
    own = [edge for edge in edges if edge[0]] or edges
    return min(own, key=lambda edge: edge[1])[2]
