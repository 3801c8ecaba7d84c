"""Passes of a go, and sound through the hall.

Outside evidence for sound: the freesmartcalculator page's table (331.30 m/s at 0 °C, 343.21 at
20, 346.13 at 25), and Stanford CCRMA's page (1085.1 ft/s at 0 °C, 1124.1 ft/s at 20 °C).
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinics.compute.geometry import Pass, crossing_distances_m, passes, wall_distances_m
from clinics.compute.sound import speed_of_sound_m_per_s, travel_s

FOOT_M = 0.3048


def at(kind: str, x_m: float, course_m: float, distance_m: float) -> list[Pass]:
    return passes(
        kind=kind, x_m=x_m, course_m=course_m, distance_m=distance_m, pace_s_per_100m=100.0
    )


def test_75_m_in_a_25_m_pool_passes_the_middle_three_times_and_turns_twice() -> None:
    assert [one.at_s for one in at("underwater", 12.5, 25, 75)] == [12.5, 37.5, 62.5]
    assert [one.at_s for one in at("turn-window", 25, 25, 75)] == [25.0]
    assert [(one.at_s, one.what) for one in at("start-side", 3, 25, 75)] == [
        (0.0, "start"),
        (50.0, "turn"),
    ]


def test_50_m_pool_with_75_m() -> None:
    assert [one.at_s for one in at("underwater", 25, 50, 75)] == [25.0, 75.0]
    assert [one.at_s for one in at("turn-window", 50, 50, 75)] == [50.0]
    assert [one.what for one in at("start-side", 3, 50, 75)] == ["start"]


def test_25_yards() -> None:
    crossings = crossing_distances_m(22.86, 68.58, 10.0)
    assert crossings == pytest.approx([10.0, 35.72, 55.72])
    assert wall_distances_m(22.86, 68.58, far=True) == pytest.approx([22.86])


def test_the_end_of_a_go_is_no_turn_but_a_window_there_sees_the_touch() -> None:
    assert [(p.at_s, p.what) for p in at("turn-window", 25, 25, 25)] == [(25.0, "touch")]
    assert [(p.at_s, p.what) for p in at("turn-window", 25, 25, 50)] == [(25.0, "turn")]
    assert at("turn-window", 25, 25, 20) == []
    assert [p.what for p in at("start-side", 0, 25, 50)] == ["start"]


def test_deck_camera_has_one_pass() -> None:
    near, far = at("deck", 9, 25, 50)[0], at("deck", 25, 50, 75)[0]
    assert (near.from_s, near.to_s) == (-1.0, 50.0)
    assert (far.from_s, far.to_s) == (20.0, 75.0)


def test_go_too_short_for_a_station_has_no_pass() -> None:
    assert at("underwater", 20, 25, 15) == []


@given(
    st.floats(min_value=5, max_value=200),
    st.floats(min_value=5, max_value=1500),
    st.floats(min_value=0, max_value=1),
)
def test_crossings_are_where_a_folded_line_says(course: float, distance: float, at: float) -> None:
    """Outside statement: position is the triangle wave of the distance swum."""
    x_m = at * course
    for swum in crossing_distances_m(course, distance, x_m):
        folded = swum % (2 * course)
        position = folded if folded <= course else 2 * course - folded
        assert position == pytest.approx(x_m, abs=1e-6 * max(1, distance))
        assert 0 < swum <= distance + 1e-5


@given(st.sampled_from(["start-side", "underwater", "turn-window", "deck"]), st.data())
def test_passes_are_numbered_in_order_of_time(kind: str, data: st.DataObject) -> None:
    course = data.draw(st.floats(min_value=5, max_value=100))
    distance = data.draw(st.floats(min_value=5, max_value=400))
    x_m = data.draw(st.floats(min_value=-2, max_value=102))
    found = at(kind, x_m, course, distance)
    assert [one.pass_no for one in found] == list(range(1, len(found) + 1))
    assert [one.at_s for one in found] == sorted(one.at_s for one in found)
    assert all(one.from_s < one.to_s for one in found)


@pytest.mark.parametrize(("celsius", "published"), [(0, 331.30), (20, 343.21), (25, 346.13)])
def test_speed_of_sound_as_published(celsius: float, published: float) -> None:
    assert speed_of_sound_m_per_s(celsius) == pytest.approx(published, abs=0.006)


@pytest.mark.parametrize(("celsius", "feet"), [(0, 1085.1), (20, 1124.1)])
def test_speed_of_sound_against_another_source(celsius: float, feet: float) -> None:
    assert speed_of_sound_m_per_s(celsius) == pytest.approx(feet * FOOT_M, rel=2e-3)


def test_sound_needs_the_straight_way() -> None:
    assert 1000 * travel_s((0, 0, 0), (50, 0, 0), 20) == pytest.approx(145.68, abs=0.01)
    assert travel_s((0, 0, 0), (3, 4, 12), 0) == pytest.approx(13 / 331.3)
