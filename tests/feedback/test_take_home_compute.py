"""Which measures a take-home page proposes, in which order; what is told of last time; the strip on
paper. Which are key is our choice (common practice, no source): the tests say what we chose."""

from __future__ import annotations

from dataclasses import replace

import pytest

from feedback.compute.measuring.measure import Measure
from feedback.compute.measuring.uncertain import Quantity, Shape, Source
from feedback.compute.measuring.whole import measure_swim
from feedback.compute.take_home import (
    MOST_MEASURES,
    Choice,
    against,
    choice_of,
    chosen,
    in_order,
    key_of,
    proposal,
)
from feedback.compute.take_home_paper import on_paper
from portal.compute.lane_strip import Instant, Lane, Span, lay_out
from tests.feedback.measuring.swims import COURSE, Cameras


def measures_of_truth(stroke: str = "freestyle") -> tuple[Measure, ...]:
    marks, zero = Cameras().film()
    return measure_swim(marks, replace(COURSE, stroke=stroke), zero).measures


def of(key: str, value: float, u: float, number: int = 0, at_m: float | None = None) -> Measure:
    parts = {Source(f"{key} {value}", Shape.BELL, u): 1.0} if u else {}
    return Measure(key, Quantity(value, parts), number, at_m)


def propose(measures: tuple[Measure, ...], stroke: str = "freestyle") -> tuple[str, ...]:
    return proposal(measures, stroke=stroke, start="block", course_m=25.0)


def test_at_most_eight_are_proposed_in_the_order_of_the_swim() -> None:
    measures = measures_of_truth()
    assert len(measures) > 30
    keys = propose(measures)
    assert len(keys) == MOST_MEASURES == len(set(keys))
    assert [key.rsplit("-", 2)[0] for key in keys] == [
        *("block-time", "underwater-time", "breakout-time", "time-to-distance"),
        *("stroke-rate", "stroke-length", "turn-wall", "underwater-time"),
    ]
    assert "time-to-distance-0-15" in keys and keys[-1].startswith("underwater-time-2")


def test_breaststroke_has_its_rotation_at_the_wall_rather_than_the_block() -> None:
    keys = propose(measures_of_truth("breaststroke"), "breaststroke")
    names = [key.rsplit("-", 2)[0] for key in keys]
    assert "turn-rotation" in names and "stroke-count" in names and "block-time" not in names


def test_the_longest_way_from_the_start_and_what_can_be_quoted_is_proposed() -> None:
    to_5, to_10 = (of("time-to-distance", t, 0.02, at_m=m) for t, m in ((1.9, 5.0), (5.3, 10.0)))
    unsure = of("breakout-time", 4.6, 4.0)
    assert propose((to_5, to_10, unsure)) == (key_of(to_10),)
    assert propose(()) == ()


def test_what_was_chosen_and_is_gone_is_left_out_and_nothing_stands_twice() -> None:
    measures = measures_of_truth()
    wall = next(one for one in measures if one.key == "turn-wall")
    found = chosen((*measures, wall), {key_of(wall), "gone-0-0"}, course_m=25.0)
    assert found == [wall]


def test_a_distance_off_the_picture_is_found_again_when_it_moved_a_little() -> None:
    near, far = (of("time-to-distance", 5.3, 0.02, at_m=at_m) for at_m in (9.94, 15.02))
    assert chosen((near, far), ["time-to-distance-0-10.02"], course_m=25.0) == [near]
    assert chosen((near, far), ["time-to-distance-0-12"], course_m=25.0) == []
    assert chosen((near, far), ["time-to-distance-0-rubbish", ""], course_m=25.0) == []


def test_distances_stand_in_their_length_and_the_whole_swim_comes_last() -> None:
    fade, to_30 = of("fade", 11.0, 0.5), of("time-to-distance", 17.3, 0.02, at_m=30.0)
    turn, rate = of("turn-wall", 1.2, 0.02, 1, 25.0), of("stroke-rate", 48.0, 0.3, 2)
    dive, first = of("block-time", 0.7, 0.02), of("breakout-time", 4.6, 0.02)
    assert in_order([fade, rate, to_30, turn, first, dive], course_m=25.0) == [
        *(dive, first, turn, to_30, rate, fade)
    ]


@pytest.mark.parametrize("by, differs", [(0.9, True), (0.05, False), (-0.9, True)])
def test_a_difference_counts_beyond_its_own_half_width(by: float, differs: bool) -> None:
    """1.96 · sqrt(2) · 0.03 m = 0.083 m (GUM 5.1.2, two independent errors)."""
    now, then = (
        of("underwater-distance", 8.9 + by, 0.03, 1),
        of("underwater-distance", 8.9, 0.03, 1),
    )
    found = against(now, then)
    assert found is not None and found.differs is differs
    assert found.apart.value == pytest.approx(by)
    assert found.apart.half_width_95 == pytest.approx(0.083, abs=0.001)


def test_nothing_is_said_against_what_is_too_unsure() -> None:
    good, unsure = of("breakout-time", 4.6, 0.02), of("breakout-time", 4.0, 3.0)
    assert against(good, unsure) is None and against(unsure, good) is None


def test_a_choice_goes_through_json_and_rubbish_is_none() -> None:
    choice = Choice(("a-0-0",), ("b",), "c")
    assert choice_of(choice.to_json()) == choice
    assert choice_of(None) == choice_of({"measures": "a", "stills": 3}) == Choice()


def test_paper_has_what_the_strip_has_at_the_same_shares() -> None:
    lane = Lane(
        begin_s=-2.0,
        end_s=38.0,
        walls=(Instant(0.0), Instant(18.0)),
        phases=(Span(0.0, 8.0, "swimming"), Span(8.0, 8.4, "underwater")),
        bars=(Span(0.0, 4.0), Span(2.0, 6.0)),
        flags=(Instant(8.0),),
        leaves_s=38.0,
    )
    strip = on_paper(lay_out(lane), 400.0)
    assert strip.walls == (20.0, 200.0) and strip.flags == (100.0,) and strip.ladder == 400.0
    assert [(one.x, one.width, one.name) for one in strip.phases] == [
        (20.0, 80.0, "swimming"),
        (100.0, 4.0, ""),  # no room for its name
    ]
    assert [one.y for one in strip.bars] == [45.0, 40.0]
