"""Windows leave room for a wrong pace, and never reach beyond the recording."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinics.compute.windows import Window, clip_to, keep_clear, told_by_motion, windows_for

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


# --- other pools -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("course_m", "distance_m", "x_m", "crossings_m", "far_turns_m", "near_turns_m"),
    [
        # 75 m in a 25 m pool: three passes in the middle, a turn at each wall
        (25.0, 75.0, 12.5, [12.5, 37.5, 62.5], [25.0], [50.0]),
        # 25 yd are 22.86 m exactly (25 × 0.9144); three lengths are 68.58 m
        (22.86, 68.58, 11.43, [11.43, 34.29, 57.15], [22.86], [45.72]),
        # 75 m in it: the fourth length is begun, 6.42 m of it
        (22.86, 75.0, 11.43, [11.43, 34.29, 57.15], [22.86, 68.58], [45.72]),
        (50.0, 75.0, 25.0, [25.0, 75.0], [50.0], []),
        (33.33, 75.0, 16.0, [16.0, 50.66], [33.33], [66.66]),
    ],
)
def test_windows_in_a_pool_of_any_length(
    course_m: float,
    distance_m: float,
    x_m: float,
    crossings_m: list[float],
    far_turns_m: list[float],
    near_turns_m: list[float],
) -> None:
    pool = {"course_m": course_m, "distance_m": distance_m, "pace_s_per_100m": 100.0}
    middle = windows_for(kind="underwater", x_m=x_m, given=[], **pool)
    assert [one.pass_no for one in middle] == list(range(1, len(crossings_m) + 1))
    for one, at_m in zip(middle, crossings_m, strict=True):  # 1 m/s
        assert one.seen_from_s == pytest.approx(at_m - 3)
        assert one.in_s < one.seen_from_s < at_m < one.seen_to_s < one.out_s
    far = windows_for(kind="turn-window", x_m=course_m, given=[], **pool)
    assert [one.seen_from_s for one in far] == pytest.approx([at_m - 5 for at_m in far_turns_m])
    start = windows_for(kind="start-side", x_m=3.0, given=[], **pool)
    assert [one.what for one in start] == ["start"] + ["turn"] * len(near_turns_m)
    assert [one.seen_from_s for one in start[1:]] == pytest.approx(
        [at_m - 5 for at_m in near_turns_m]
    )


# --- slower than expected ----------------------------------------------------------------------


def last_pass(**more: float) -> Window:
    return windows_for(kind="underwater", x_m=12.5, given=[], **POOL, **more)[-1]


def test_slow_swimmer_is_cut_whole_up_to_the_next_start() -> None:
    usual_s = 65.5 * 1.15 + 1  # of 62.5 m and three metres after, at 1 m/s
    assert last_pass().out_s == pytest.approx(65.5 * 1.3 + 1)
    assert last_pass(next_start_s=300.0).out_s == pytest.approx(65.5 * 1.3 + 1)
    assert last_pass(next_start_s=80.0).out_s == pytest.approx(80.0)
    assert last_pass(next_start_s=50.0).out_s == pytest.approx(usual_s)  # sent on top of another
    first = windows_for(kind="underwater", x_m=12.5, given=[], next_start_s=80.0, **POOL)[0]
    assert first.out_s == pytest.approx(15.5 * 1.3 + 1)


# --- motion --------------------------------------------------------------------------------------


def test_motion_narrows_what_comes_from_the_pace() -> None:
    told = told_by_motion(WINDOW, (14.0, 16.5))
    assert (told.in_s, told.out_s) == (12.0, 18.5)
    assert (told.seen_from_s, told.seen_to_s) == (14.0, 16.5)
    assert (told.by, told.seen_by) == ("motion", "motion")
    assert told_by_motion(WINDOW, (10.5, 19.5)).in_s == 10.0  # never wider than the window
    assert told_by_motion(WINDOW, None) == WINDOW


def test_plans_own_window_stands_and_grows_where_it_would_cut_off() -> None:
    own = replace(WINDOW, by="station")
    told = told_by_motion(own, (13.0, 19.5))
    assert (told.in_s, told.out_s, told.by, told.seen_by) == (10.0, 21.5, "station", "motion")


@pytest.mark.parametrize("what", ["start", "along"])
def test_motion_says_nothing_where_everything_moves(what: str) -> None:
    window = replace(WINDOW, what=what)
    assert told_by_motion(window, (14.0, 16.5)) == window


# --- what is missing -----------------------------------------------------------------------------


def test_part_that_the_recording_lacks_is_told() -> None:
    held = clip_to(WINDOW, 14.0, 100.0)
    assert held is not None
    assert (held.missing_before_s, held.missing_after_s, held.missing_by) == (1.0, 0.0, "recording")
    whole = clip_to(WINDOW, 12.0, 100.0)  # room is lacking, nothing of the swimmer
    assert whole is not None and (whole.missing_before_s, whole.missing_by) == (0.0, "")


def test_dropped_spans_are_kept_clear_of() -> None:
    assert keep_clear(WINDOW, []) == WINDOW
    clear = keep_clear(WINDOW, [(15.5, 40.0)])
    assert clear is not None
    assert (clear.in_s, clear.out_s, clear.seen_to_s) == (10.0, 15.5, 15.5)
    assert (clear.missing_after_s, clear.missing_by) == (0.5, "dropped")
    most = keep_clear(WINDOW, [(13.5, 14.0)])  # of the two parts the one with more of them
    assert most is not None and (most.in_s, most.seen_from_s, most.out_s) == (14.0, 14.0, 20.0)
    assert keep_clear(WINDOW, [(12.0, 17.0)]) is None
    assert keep_clear(WINDOW, [(5.0, 14.2), (14.4, 19.0)]) is None


@given(
    st.lists(
        st.tuples(st.floats(0, 30), st.floats(0.1, 8)).map(lambda one: (one[0], one[0] + one[1])),
        max_size=5,
    )
)
def test_nothing_dropped_is_ever_left_in(dropped: list[tuple[float, float]]) -> None:
    clear = keep_clear(WINDOW, dropped)
    if clear is not None:
        assert WINDOW.in_s <= clear.in_s <= clear.seen_from_s < clear.seen_to_s <= clear.out_s
        assert all(to_s <= clear.in_s or from_s >= clear.out_s for from_s, to_s in dropped)
