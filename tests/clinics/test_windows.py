"""Windows leave room for a wrong pace, and never reach beyond the recording."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinics.compute.windows import Window, clip_to, windows_for

POOL = {"course_m": 25.0, "distance_m": 75.0, "pace_s_per_100m": 100.0}


def test_own_windows_stand_and_the_rest_comes_from_the_pace() -> None:
    given_windows = [{"pass": 2, "from_s": 30.0, "to_s": 50.0}]
    found = windows_for(kind="underwater", x_m=12.5, given=given_windows, **POOL)
    assert [(one.pass_no, one.by) for one in found] == [(1, "pace"), (2, "station"), (3, "pace")]
    assert (found[1].in_s, found[1].out_s) == (30.0, 50.0)
    assert (found[1].seen_from_s, found[1].seen_to_s) == (34.5, 40.5)


def test_the_start_has_what_comes_before_it() -> None:
    start = windows_for(kind="start-side", x_m=3, given=[], **POOL)[0]
    assert start.in_s == -3.0
    assert start.out_s >= 8.0


@given(
    st.floats(min_value=0.85, max_value=1.15),
    st.floats(min_value=0, max_value=2.5),
    st.floats(min_value=45, max_value=300),
)
def test_pass_is_within_its_window_if_the_pace_is_right_within_15_percent(
    share: float, quick_start_s: float, pace: float
) -> None:
    """A swimmer whose pace is off by up to 15 % and whose dive wins up to 2.5 s."""
    pool = {**POOL, "pace_s_per_100m": pace}
    for kind, x_m in (("underwater", 12.5), ("turn-window", 25.0)):
        for one in windows_for(kind=kind, x_m=x_m, given=[], **pool):
            for expected in (one.seen_from_s, one.seen_to_s):
                assert one.in_s <= max(expected * share - quick_start_s, one.in_s)
                assert expected * share <= one.out_s
            assert one.in_s <= max(one.seen_from_s * share - quick_start_s, -3.0)


def test_margin_grows_with_time_and_with_uncertainty() -> None:
    first, _, third = windows_for(kind="underwater", x_m=12.5, given=[], **POOL)
    assert third.out_s - third.in_s > first.out_s - first.in_s + 10
    unsure = windows_for(kind="underwater", x_m=12.5, given=[], u_s=2.0, **POOL)[0]
    assert first.in_s - unsure.in_s == pytest.approx(4.0)
    assert unsure.out_s - first.out_s == pytest.approx(4.0)


WINDOW = Window(1, 10.0, 20.0, 13.0, 16.0, "pace")


def test_recording_that_holds_it_all_changes_nothing() -> None:
    assert clip_to(WINDOW, 0.0, 100.0) == WINDOW


def test_recording_that_ends_within_cuts_the_window_and_what_is_seen() -> None:
    held = clip_to(WINDOW, 0.0, 15.0)
    assert held is not None
    assert (held.in_s, held.out_s, held.seen_from_s, held.seen_to_s) == (10.0, 15.0, 13.0, 15.0)


@pytest.mark.parametrize(("from_s", "to_s"), [(0, 13.2), (15.8, 90), (30, 40), (0, 9)])
def test_recording_without_the_swimmer_gives_no_clip(from_s: float, to_s: float) -> None:
    assert clip_to(WINDOW, from_s, to_s) is None
