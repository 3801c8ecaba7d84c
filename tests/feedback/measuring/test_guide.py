"""The guided pass: what a stroke and course need, and that it jumps near to the next event."""

from __future__ import annotations

import pytest

from feedback.compute.measuring.events import Event, Seen, View
from feedback.compute.measuring.guide import Step, full_pass, guided, quick_pass
from feedback.compute.measuring.swim_marks import Course, put_in_order
from tests.feedback.measuring.swims import COURSE, TRUTH, Cameras

E = Event
PACE = 60.0  # of the known swim: 25 m in 14.6 s
MINE = "ines"


def events(steps: tuple[Step, ...]) -> list[Event]:
    return [step.event for step in steps]


def test_the_quick_pass_has_the_six_marks_in_their_order() -> None:
    touch = E.FEET_TOUCH_WALL
    expected = [E.START_SIGNAL, E.FIRST_ENTRY, E.BREAKOUT, touch, E.FEET_LEAVE_WALL, E.BREAKOUT]
    assert events(quick_pass(COURSE)) == expected


@pytest.mark.parametrize(
    ("course", "left"),
    [
        (Course(25.0, 25.0, "freestyle", "block"), 4),  # no turn: it ends at the wall
        (Course(25.0, 15.0, "freestyle", "block"), 3),  # no wall
        (Course(25.0, 50.0, "backstroke", "water"), 5),  # no dive
    ],
)
def test_a_swim_without_a_turn_a_wall_or_a_dive_needs_fewer(course: Course, left: int) -> None:
    assert len(quick_pass(course)) == left


def test_the_last_wall_is_touched_with_the_hands_and_an_open_turn_has_both() -> None:
    tumble = events(full_pass(Course(25.0, 50.0, "freestyle", "block")))
    assert [one for one in tumble if "wall" in one] == [
        E.FEET_TOUCH_WALL,
        E.FEET_LEAVE_WALL,
        E.HANDS_TOUCH_WALL,
    ]
    turned = events(full_pass(Course(25.0, 50.0, "butterfly", "block")))
    assert [one for one in turned if "wall" in one][:3] == [
        E.HANDS_TOUCH_WALL,
        E.FEET_TOUCH_WALL,
        E.FEET_LEAVE_WALL,
    ]


def test_the_full_pass_asks_for_distances_of_the_start_and_of_the_turn_zone() -> None:
    steps = full_pass(Course(25.0, 50.0, "freestyle", "block"))
    marked = [step.at_m for step in steps if step.event is E.HEAD_AT_DISTANCE]
    assert marked == [5.0, 10.0, 15.0, 20.0, 30.0, 35.0]
    assert [step.repeats for step in steps if step.event is E.HAND_ENTRY] == [True, True]


def test_what_a_medley_cannot_be_counted_in_is_not_asked_for() -> None:
    assert E.HAND_ENTRY not in events(full_pass(Course(25.0, 100.0, "medley", "block")))


def seen_until(at_s: float) -> list[Seen]:
    marks, _zero = Cameras().film()
    return [one for one in marks if one.frame_s <= at_s]


def true_s(step: Step) -> float | None:
    """When the known swim has it; its breakouts and walls in turn."""
    its = [t for event, t, m, _v in TRUTH if event in step.events and m == step.at_m]
    n = max(step.number, 1) - 1
    return its[n] if step.at_m is None and n < len(its) else (its or [None])[0]


def test_the_next_event_is_expected_within_two_seconds_of_where_it_is() -> None:
    for step in quick_pass(COURSE)[1:]:
        at_s = true_s(step)
        assert at_s is not None
        swim = put_in_order(seen_until(at_s - 0.01), COURSE, by=MINE)
        (told,) = guided([step], swim, PACE, by=MINE)
        assert not told.done
        assert told.expected_s == pytest.approx(at_s, abs=2.0), step


def test_a_swim_slower_than_its_pace_is_expected_later_from_then_on() -> None:
    view = View("deck", 0.003)
    wall = Seen("w", E.FEET_TOUCH_WALL, view, 30.0, 0.04, MINE)
    step = Step((E.FEET_TOUCH_WALL,), 2)
    (fast,) = guided([step], put_in_order([], COURSE), PACE)
    (slow,) = guided([step], put_in_order([wall], COURSE), PACE)
    assert slow.expected_s - 30.0 > 1.2 * fast.expected_s / 2


def test_what_lies_between_two_marks_is_expected_between_them() -> None:
    marks, _zero = Cameras().film()
    kept = [one for one in marks if one.event in (E.FIRST_ENTRY, E.FEET_TOUCH_WALL)]
    (told,) = guided([Step((E.BREAKOUT,), 1)], put_in_order(kept, COURSE), PACE)
    assert 1.12 < told.expected_s < 15.4 and told.expected_s == pytest.approx(4.62, abs=1.5)


def test_each_next_hand_is_expected_as_far_on_as_the_one_before() -> None:
    swim = put_in_order(seen_until(7.0), COURSE)
    (told,) = guided([Step((E.HAND_ENTRY,), 1, repeats=True)], swim, PACE)
    assert told.expected_s == pytest.approx(5.1 + 4 * 0.62, abs=0.1) and not told.done


def test_a_step_is_done_by_ones_own_mark_and_either_touch() -> None:
    marks, _zero = Cameras().film()
    swim = put_in_order(marks, COURSE, by=MINE)
    assert all(one.done for one in guided(quick_pass(COURSE)[1:], swim, PACE, by=MINE))
    assert not any(one.done for one in guided(quick_pass(COURSE)[1:], swim, PACE, by="other"))
    hands = [one for one in marks if one.event is not E.FEET_TOUCH_WALL]
    (told,) = guided([quick_pass(COURSE)[3]], put_in_order(hands, COURSE), PACE, by=MINE)
    assert told.done


@pytest.mark.parametrize("stroke", ["freestyle", "backstroke", "breaststroke", "butterfly"])
@pytest.mark.parametrize("start", ["block", "edge", "water"])
@pytest.mark.parametrize("course_m", [5.0, 25.0, 50.0])
def test_events_are_expected_in_the_order_of_the_pass(
    stroke: str, start: str, course_m: float
) -> None:
    course = Course(course_m, 100.0, stroke, start)
    told = guided(quick_pass(course), put_in_order([], course), 90.0)
    times = [one.expected_s for one in told]
    assert times == sorted(times) and times[0] == 0.0


def test_a_pool_whose_lengths_are_rounded_has_no_length_of_some_centimetres() -> None:
    """100 m are three lengths of a pool of a third of that, said to be 33.3 m or 33.33 m long."""
    for course_m in (33.3, 33.33):
        course = Course(course_m, 100.0, "freestyle", "block")
        walls = [step for step in full_pass(course) if step.event is Event.FEET_LEAVE_WALL]
        assert [step.number for step in walls] == [1, 2]
        last = full_pass(course)[-1]
        assert (last.event, last.number) == (Event.HANDS_TOUCH_WALL, 3)
