"""Marks that do not go together: a sentence that says what is wrong and where."""

from __future__ import annotations

import pytest

from feedback.compute.measuring.events import Event, Seen, View, Zero
from feedback.compute.measuring.swim_marks import Course, SwimMarks, put_in_order
from feedback.compute.measuring.whole import measure_swim
from tests.feedback.measuring.swims import COURSE, Cameras

VIEW = View("deck", 0.002)
E = Event


def marks_of(*rows: tuple[Event, float] | tuple[Event, float, float]) -> list[Seen]:
    return [
        Seen(f"m{n}", row[0], VIEW, row[1], 0.02, "ines", row[2] if len(row) > 2 else None)
        for n, row in enumerate(rows)
    ]


def ordered(*rows: tuple[Event, float] | tuple[Event, float, float]) -> SwimMarks:
    return put_in_order(marks_of(*rows), COURSE)


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ([(E.START_SIGNAL, 0.0), (E.START_SIGNAL, 9.0)], "“start signal” is marked at 0.00 s and"),
        (
            [(E.FEET_LEAVE_BLOCK, 0.9), (E.FIRST_ENTRY, 0.7)],
            "“first entry” at 0.70 s stands before",
        ),
        ([(E.BREAKOUT, 4.0), (E.BREAKOUT, 9.0)], "breaks the surface 2 times in length 1"),
        ([(E.BREAKOUT, 4.0), (E.HAND_ENTRY, 3.0)], "“hand entry” at 3.00 s stands before"),
        ([(E.FEET_LEAVE_WALL, 14.0), (E.FEET_TOUCH_WALL, 14.5)], "“feet leave wall” at"),
        ([(E.HEAD_AT_DISTANCE, 9.0, 35.0)], "stands in length 1, which goes from 0 to 25 m"),
        (
            [(E.HEAD_AT_DISTANCE, 9.0, 15.0), (E.HEAD_AT_DISTANCE, 10.0, 10.0)],
            "is at 10 m after it was at 15 m",
        ),
        ([(E.HANDS_TOUCH_WALL, 15.0 * n) for n in (1, 2, 3, 4)], "marks at 4 walls"),
    ],
)
def test_what_does_not_go_together_is_said(rows: list[tuple[Event, float]], says: str) -> None:
    found = ordered(*rows)
    assert len(found.wrong) == 1, [one.says for one in found.wrong]
    assert says in found.wrong[0].says
    assert found.wrong[0].marks


def test_nothing_follows_from_marks_that_are_wrong() -> None:
    marks = marks_of((E.FEET_LEAVE_BLOCK, 0.9), (E.FIRST_ENTRY, 0.7), (E.BREAKOUT, 4.0))
    swim = measure_swim(marks, COURSE, Zero("heard", 0.002))
    assert {one.key for one in swim.measures} == {"breakout-time"}


def test_two_starts_leave_the_rest_as_it_is() -> None:
    marks = marks_of(
        (E.FIRST_ENTRY, 1.0), (E.FIRST_ENTRY, 4.0), (E.HANDS_TOUCH_WALL, 15.0), (E.BREAKOUT, 5.0)
    )
    swim = measure_swim(marks, COURSE, Zero("heard", 0.002))
    assert [one.says for one in swim.wrong][0].startswith("“first entry” is marked at 1.00 s")
    assert {one.key for one in swim.measures} == {"breakout-time", "split"}


def test_open_turn_and_tumble_turn() -> None:
    open_turn = ordered(
        (E.HANDS_TOUCH_WALL, 15.0), (E.FEET_TOUCH_WALL, 15.8), (E.FEET_LEAVE_WALL, 16.2)
    )
    tumble = ordered((E.FEET_TOUCH_WALL, 15.0), (E.FEET_LEAVE_WALL, 15.3))
    assert [len(one.walls) for one in (open_turn, tumble)] == [1, 1]
    assert open_turn.walls[0].touch is open_turn.walls[0].hands_touch
    assert tumble.walls[0].touch is tumble.walls[0].feet_touch
    assert len(open_turn.lengths) == 2


def test_walls_are_cut_where_a_touch_comes_again() -> None:
    found = ordered((E.HANDS_TOUCH_WALL, 15.0), (E.HANDS_TOUCH_WALL, 31.0), (E.BREAKOUT, 19.0))
    assert [wall.number for wall in found.walls] == [1, 2]
    assert found.lengths[1].breakout is not None


def test_a_wall_that_nobody_marked_is_not_made_up() -> None:
    found = ordered((E.BREAKOUT, 4.0), (E.HAND_ENTRY, 5.0))
    assert found.walls == []
    assert found.wrong == ()


def test_missed_stroke_is_asked_after() -> None:
    marks, zero = Cameras().film()
    fourth = sorted((one for one in marks if one.event is E.HAND_ENTRY), key=lambda m: m.frame_s)[3]
    swim = measure_swim([one for one in marks if one is not fourth], COURSE, zero)
    assert any("Is one not marked?" in one.says for one in swim.wrong)
    assert not any("Is one not" in one.says for one in measure_swim(marks, COURSE, zero).wrong)


def test_course_of_any_length() -> None:
    assert Course(22.86, 68.58, "freestyle", "block").walls == 3
    assert Course(50.0, 75.0, "freestyle", "block").walls == 1
    assert Course(33.33, 25.0, "freestyle", "water").walls == 0


def test_nothing_follows_from_a_wall_too_many() -> None:
    """50 m in a 25 m pool reach two walls; nothing is told of a third."""
    marks = marks_of(*((E.HANDS_TOUCH_WALL, 15.0 * n) for n in (1, 2, 3)))
    swim = measure_swim(marks, Course(25.0, 50.0, "freestyle", "block"), Zero("heard", 0.002))
    assert [one.marks for one in swim.wrong] == [("m2",)]
    assert {one.number for one in swim.measures} == {1, 2}


def test_nothing_follows_from_a_distance_that_is_elsewhere() -> None:
    """Counted from the wall and not from the start: 6 m in the second length would be 19 m before
    the wall. When the head came up is known all the same."""
    marks = marks_of((E.FEET_TOUCH_WALL, 15.0), (E.FEET_LEAVE_WALL, 15.4), (E.BREAKOUT, 18.0, 6.0))
    swim = measure_swim(marks, COURSE, Zero("heard", 0.002))
    assert ["stands in length 2" in one.says for one in swim.wrong] == [True]
    assert swim.get("underwater-time", 2) and swim.get("underwater-distance") is None


def test_nothing_follows_from_distances_that_do_not_grow() -> None:
    rows = [(E.HEAD_AT_DISTANCE, 5.0, 15.0), (E.HEAD_AT_DISTANCE, 7.0, 10.0)]
    swim = measure_swim(marks_of(*rows), COURSE, Zero("heard", 0.002))
    assert len(swim.wrong) == 1 and swim.measures == ()


def test_feet_that_leave_the_wall_begin_a_swim_from_the_water_and_are_no_turn() -> None:
    marks = marks_of(
        (E.FEET_LEAVE_WALL, 0.9),
        (E.BREAKOUT, 4.0),
        (E.FEET_TOUCH_WALL, 17.0),
        (E.FEET_LEAVE_WALL, 17.4),
        (E.HANDS_TOUCH_WALL, 35.0),
    )
    course = Course(25.0, 50.0, "backstroke", "water")
    swim = measure_swim(marks, course, Zero("heard", 0.002))
    assert swim.wrong == ()
    splits = [one for one in swim.measures if one.key == "split"]
    assert [(one.number, round(one.quantity.value)) for one in splits] == [(1, 17), (2, 35)]
    under = swim.get("underwater-time", 1)
    assert under is not None and under.quantity.value == pytest.approx(3.1)
    contact = swim.get("turn-contact", 1)
    assert contact is not None and contact.quantity.value == pytest.approx(0.4)
