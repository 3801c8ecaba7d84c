"""Strokes of a medley by length, and what the guided pass makes of them."""

from __future__ import annotations

import pytest

from feedback.compute.measuring.events import Event, Seen, View, Zero
from feedback.compute.measuring.guide import full_pass
from feedback.compute.measuring.medley import strokes_by_rule
from feedback.compute.measuring.swim_marks import Course
from feedback.compute.measuring.whole import Measured, measure_swim

E = Event
FOUR = ("butterfly", "backstroke", "breaststroke", "freestyle")


@pytest.mark.parametrize(
    ("course_m", "distance_m", "strokes"),
    [
        (25.0, 100.0, FOUR),
        (50.0, 200.0, FOUR),
        (25.0, 200.0, tuple(s for s in FOUR for _ in range(2))),
        (25.0, 75.0, ()),  # three lengths
        (50.0, 100.0, ()),  # a part is half a length
        (25.0, 50.0, ()),
        (25.0, 25.0, ()),
    ],
)
def test_four_equal_parts_of_whole_lengths(
    course_m: float, distance_m: float, strokes: tuple[str, ...]
) -> None:
    """World Aquatics swimming rules, SW 9.1: butterfly, backstroke, breaststroke, freestyle, each
    a quarter of the distance (value from memory)."""
    assert strokes_by_rule(Course(course_m, distance_m, "medley", "block")) == strokes


def swum(course: Course) -> Measured:
    """Ten hand entries a second apart in each of the first two lengths."""
    view = View("deck", 0.002)
    hands = [
        Seen(f"h{start}-{n}", E.HAND_ENTRY, view, start + n, 0.02)
        for start in (5.0, 25.0)
        for n in range(10)
    ]
    wall = Seen("w", E.HANDS_TOUCH_WALL, view, 20.0, 0.02)
    return measure_swim([*hands, wall], course, Zero("heard", 0.002))


def test_cycles_are_counted_by_the_stroke_of_their_length() -> None:
    """One mark a cycle in butterfly, two in backstroke: 60 and 30 cycles a minute."""
    told = swum(Course(25.0, 100.0, "medley", "block", FOUR))
    rates = [told.get("stroke-rate", number) for number in (1, 2)]
    assert [one and round(one.quantity.value, 6) for one in rates] == [60.0, 30.0]


def test_a_medley_without_strokes_has_no_stroke_measures() -> None:
    assert not [
        m for m in swum(Course(25.0, 75.0, "medley", "block")).measures if "stroke" in m.key
    ]
    said = Course(25.0, 75.0, "medley", "block", ("backstroke", "breaststroke", "freestyle"))
    rate = swum(said).get("stroke-rate", 1)
    assert rate is not None and rate.quantity.value == pytest.approx(30.0)


def test_the_pass_asks_for_the_walls_as_each_stroke_ends() -> None:
    """Where the stroke changes, the hands touch and the feet follow; between two lengths of
    backstroke it is a tumble turn."""
    course = Course(25.0, 200.0, "medley", "block", tuple(s for s in FOUR for _ in range(2)))
    steps = full_pass(course)
    touches = [s.events for s in steps if s.event in (E.HANDS_TOUCH_WALL, E.FEET_TOUCH_WALL)]
    tumbles = [events[0] is E.FEET_TOUCH_WALL and len(events) == 2 for events in touches]
    assert sum(tumbles) == 2  # within backstroke, within freestyle
    assert sum(s.repeats for s in steps) == 8
    nobody_said = full_pass(Course(25.0, 75.0, "medley", "block"))
    assert not any(step.repeats for step in nobody_said)
