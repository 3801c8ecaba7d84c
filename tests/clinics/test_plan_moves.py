"""Moving a station on the drawn plan: as far as its kind may, and onto a wall nearby."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinics.compute.plan_drawing import moved, snapped
from clinics.compute.sight import Pool, Stand

quick = settings(max_examples=60, deadline=None)
KINDS = ("start-side", "underwater", "turn-window", "deck")
FIFTY = Pool(course_m=50.0, lanes=6)


def at(kind: str, x_m: float, y_m: float) -> Stand:
    return Stand("s", kind, x_m, y_m, 0.0)


@pytest.mark.parametrize(
    ("kind", "from_m", "by_m", "to_m"),
    [
        ("deck", (20.0, -1.0), (0.1, 0.0), (20.1, -1.0)),
        ("deck", (20.0, -1.0), (0.0, -9.0), (20.0, -5.0)),  # the deck's edge
        ("deck", (20.0, -0.5), (0.0, 1.0), (20.0, 0.0)),  # not into the water
        ("deck", (20.0, -0.5), (0.0, 14.0), (20.0, 0.0)),  # nor across it, while over it
        ("deck", (20.0, -0.5), (0.0, 16.5), (20.0, 16.0)),  # dragged to the other side
        ("deck", (20.0, 16.0), (0.0, -2.0), (20.0, 15.0)),
        ("start-side", (-1.0, 1.25), (3.0, 0.0), (0.0, 1.25)),
        ("start-side", (51.0, 1.25), (-3.0, 0.0), (50.0, 1.25)),
        ("start-side", (25.0, 7.0), (0.0, 0.0), (25.0, 0.0)),  # afloat: to the nearest edge
        ("underwater", (25.0, 5.0), (0.0, -1.0), (25.0, 4.0)),
        ("underwater", (25.0, 0.5), (0.0, -1.0), (25.0, 0.0)),
        ("underwater", (49.5, 14.5), (1.0, 1.0), (50.0, 15.0)),
        ("turn-window", (49.5, 1.25), (1.0, 0.0), (50.5, 1.25)),  # behind its window
        ("turn-window", (49.5, 1.25), (9.0, 0.0), (51.0, 1.25)),
        ("turn-window", (0.0, 0.5), (-0.1, -5.0), (-0.1, -1.0)),
    ],
)
def test_a_station_moves_as_far_as_its_kind_may(
    kind: str,
    from_m: tuple[float, float],
    by_m: tuple[float, float],
    to_m: tuple[float, float],
) -> None:
    there = moved(at(kind, *from_m), *by_m, FIFTY)
    assert (there.x_m, there.y_m) == to_m


def test_no_key_press_jumps_a_pool_narrower_than_two_steps() -> None:
    """1 m from the edge of a pool 1.5 m wide, the other edge would be nearer."""
    there = moved(at("deck", 10.0, 0.0), 0.0, 1.0, Pool(25.0, 1, 1.5))
    assert there.y_m == 0.0


@quick
@given(
    st.sampled_from(KINDS), st.floats(-20, 70), st.floats(-20, 40),
    st.floats(-30, 30), st.floats(-30, 30),
)  # fmt: skip
def test_wherever_it_is_moved_it_may_stand(
    kind: str, x_m: float, y_m: float, dx_m: float, dy_m: float
) -> None:
    there = moved(at(kind, x_m, y_m), dx_m, dy_m, FIFTY)
    room_m = {"underwater": 0.0, "turn-window": 1.0}.get(kind, 5.0)
    assert -room_m <= there.x_m <= 50 + room_m and -room_m <= there.y_m <= 15 + room_m
    if kind in ("deck", "start-side"):
        assert not (0 < there.x_m < 50 and 0 < there.y_m < 15)
    assert moved(there, 0.0, 0.0, FIFTY) == there


def test_ten_small_steps_are_one_large_one() -> None:
    here = at("underwater", 25.0, 5.0)
    for _ in range(10):
        here = moved(here, 0.1, -0.1, FIFTY)
    assert here == moved(at("underwater", 25.0, 5.0), 1.0, -1.0, FIFTY)


def test_what_is_no_move_is_refused() -> None:
    with pytest.raises(ValueError, match="metres"):
        moved(at("deck", 1.0, -1.0), math.nan, 0.0, FIFTY)
    with pytest.raises(ValueError, match="kind"):
        moved(at("balloon", 1.0, -1.0), 0.0, 0.0, FIFTY)


@pytest.mark.parametrize(
    ("kind", "from_m", "to_m"),
    [
        ("turn-window", (49.7, 1.25), (50.0, 1.25)),
        ("turn-window", (50.3, 1.25), (50.0, 1.25)),
        ("turn-window", (49.69, 1.25), (49.69, 1.25)),
        ("turn-window", (0.2, 14.8), (0.0, 15.0)),  # a corner
        ("turn-window", (30.0, 0.3), (30.0, 0.0)),  # a window in the side
        ("deck", (0.2, -0.2), (0.2, -0.2)),
    ],
)
def test_a_turn_window_snaps_to_a_wall_within_30_cm(
    kind: str, from_m: tuple[float, float], to_m: tuple[float, float]
) -> None:
    there = snapped(at(kind, *from_m), FIFTY)
    assert (there.x_m, there.y_m) == to_m
