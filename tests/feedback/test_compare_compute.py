"""Comparing without a database: common marks, pairs of views, what differs."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from feedback.compute.compare import Common, Placed, common_marks, events
from feedback.compute.compare_views import (
    Swum,
    View,
    What,
    differences,
    opening_pair,
    pair_views,
)

BREAKOUT, HANDS, FEET = "breakout", "hands-touch-wall", "feet-touch-wall"


def view(key: str, kind: str = "underwater", pass_no: int = 1, **more: object) -> View:
    told = View(key, kind, kind, pass_no, (12.5, 5.0, -0.7), 25.0, "sure", 5.0, 9.0)
    return replace(told, **more)  # type: ignore[arg-type]


def swum(*views: View, **more: object) -> Swum:
    return replace(Swum("freestyle", "block", 25.0, 50.0, views), **more)  # type: ignore[arg-type]


def test_the_start_is_always_common_and_a_mark_of_it_counts_more() -> None:
    (start,) = common_marks([], []).marks
    assert (start.common, start.at_s, start.kinds) == (Common.START, (0.0, 0.0), ("", ""))
    (start,) = common_marks([Placed("start-signal", 0.04)], []).marks
    assert (start.at_s, start.kinds) == ((0.04, 0.0), ("start-signal", ""))


def test_an_event_marked_on_one_swim_is_missing_and_not_guessed() -> None:
    found = common_marks([Placed(BREAKOUT, 6.2)], [Placed(FEET, 15.0)])
    assert [mark.common for mark in found.marks] == [Common.START]
    assert {(one.common, one.on) for one in found.missing} == {
        (Common.BREAKOUT, (True, False)),
        (Common.TURN, (False, True)),
    }


def test_events_go_together_in_their_order() -> None:
    found = common_marks(
        [Placed(BREAKOUT, 24.1), Placed(BREAKOUT, 6.2)],
        [Placed(BREAKOUT, 5.7), Placed(BREAKOUT, 22.9), Placed(BREAKOUT, 40.0)],
    )
    assert [(mark.name, mark.at_s) for mark in found.marks[1:]] == [
        ("breakout", (6.2, 5.7)),
        ("breakout-2", (24.1, 22.9)),
    ]
    assert found.uneven == (Common.BREAKOUT,)


def test_of_two_peoples_marks_ones_own_counts_else_the_later() -> None:
    theirs = [Placed(BREAKOUT, 6.20, order=1), Placed(BREAKOUT, 6.24, order=2)]
    mine = Placed(BREAKOUT, 6.16, mine=True)
    assert events(Common.BREAKOUT, theirs) == [{BREAKOUT: theirs[1]}]
    assert events(Common.BREAKOUT, [*theirs, mine]) == [{BREAKOUT: mine}]


def test_hands_stand_beside_hands_and_feet_beside_feet() -> None:
    open_turn = [Placed(HANDS, 14.1), Placed(FEET, 14.9)]
    for other, at_s, kinds in (
        ([Placed(FEET, 13.0)], (14.9, 13.0), (FEET, FEET)),
        ([Placed(HANDS, 13.0), Placed(FEET, 13.6)], (14.1, 13.0), (HANDS, HANDS)),
    ):
        turn = common_marks(open_turn, other).marks[-1]
        assert (turn.at_s, turn.kinds) == (at_s, kinds)
    mixed = common_marks([Placed(HANDS, 14.1)], [Placed(FEET, 13.0)]).marks[-1]
    assert mixed.kinds == (HANDS, FEET)


@given(st.lists(st.floats(0, 300), max_size=30))
def test_no_mark_is_lost_and_events_are_apart(times: list[float]) -> None:
    found = events(Common.BREAKOUT, [Placed(BREAKOUT, at) for at in times])
    at_s = [event[BREAKOUT].at_s for event in found]
    assert at_s == sorted(at_s) and set(at_s) <= set(times)
    assert all(any(abs(at - one) < 3.0 for one in at_s) for at in times)


def test_views_belong_together_by_kind_and_pass() -> None:
    left = [view("a1"), view("a2", pass_no=2), view("a3", kind="deck")]
    right = [view("b2", pass_no=2), view("b1"), view("b4", kind="start-side")]
    assert [(one.key, other.key) for one, other in pair_views(left, right)] == [
        ("a1", "b1"),
        ("a2", "b2"),
    ]


def test_of_several_of_a_kind_those_that_stood_nearest_belong_together() -> None:
    left = [view("a-far", place_m=(20.0, 5, -1)), view("a-near", place_m=(5.0, 5, -1))]
    right = [view("b-near", place_m=(6.0, 5, -1)), view("b-far", place_m=(18.0, 5, -1))]
    pairs = {(one.key, other.key) for one, other in pair_views(left, right)}
    assert pairs == {("a-far", "b-far"), ("a-near", "b-near")}
    assert len(pair_views(left, right[:1])) == 1


def test_the_pair_that_holds_the_event_opens() -> None:
    pairs = [
        (view("a1", from_s=-3, to_s=5), view("b1", from_s=-3, to_s=5)),
        (view("a2", from_s=5, to_s=9), view("b2", from_s=4, to_s=8)),
    ]
    for at_s, key in (((0.0, 0.0), "a1"), ((6.2, 5.7), "a2"), ((99.0, 99.0), "a2")):
        opened = opening_pair(pairs, at_s)
        assert opened and opened[0].key == key
    assert opening_pair([], (0.0, 0.0)) is None


def test_of_pairs_that_hold_the_event_the_one_it_was_marked_in_opens() -> None:
    pairs = [(view("a1"), view("b1")), (view("a2"), view("b2"))]
    for marked_in, key in ((("a2", "b2"), "a2"), (("", "b2"), "a2"), (("", ""), "a1")):
        opened = opening_pair(pairs, (6.0, 6.0), marked_in)
        assert opened and opened[0].key == key


def whats(left: Swum, right: Swum) -> list[What]:
    return [one.what for one in differences(left, right, pair_views(left.views, right.views))]


@pytest.mark.parametrize(
    ("change", "what"),
    [
        ({"stroke": "butterfly"}, What.STROKE),
        ({"start": "water"}, What.START),
        ({"course_m": 22.86}, What.COURSE),
        ({"distance_m": 75.0}, What.DISTANCE),
        ({"views": (view("b", place_m=(12.5, 5.0, -0.1)),)}, What.PLACE),
        ({"views": (view("b", frames_per_s=24000 / 1001),)}, What.FRAMES),
        ({"views": (view("b", state="look"),)}, What.TIME),
    ],
)
def test_each_difference_is_found_and_nothing_else(change: dict[str, object], what: What) -> None:
    same = swum(view("b"))
    assert whats(swum(view("a")), same) == []
    assert whats(swum(view("a")), replace(same, **change)) == [what]  # type: ignore[arg-type]


def test_half_a_metre_and_a_thousandth_of_a_rate_are_the_same() -> None:
    near = view("b", place_m=(12.5, 5.0, -0.2), frames_per_s=25.02)
    assert whats(swum(view("a")), swum(near)) == []


def test_a_camera_is_told_about_once_and_what_is_only_on_one_side() -> None:
    left = swum(view("a1"), view("a2", pass_no=2), view("a3", kind="deck"))
    moved = (14.0, 5.0, -0.7)
    right = swum(view("b1", place_m=moved), view("b2", pass_no=2, place_m=moved))
    found = differences(left, right, pair_views(left.views, right.views))
    assert [one.what for one in found] == [What.PLACE, What.ONLY]
    assert found[0].apart_m == pytest.approx(1.5)
    assert found[1].views[0] == left.views[2] and found[1].views[1] is None
