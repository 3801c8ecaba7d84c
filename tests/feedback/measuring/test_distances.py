"""Distances from places in a picture: what was swum, what is typed, what cannot be told."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from feedback.compute.measuring.distances import swum
from feedback.compute.measuring.events import Event, Seen, View, Zero, place_of
from feedback.compute.measuring.swim_marks import Course
from feedback.compute.measuring.uncertain import Quantity, Shape, Source
from feedback.compute.measuring.whole import Measured, measure_swim
from tests.feedback.measuring.planes import clicked, placed_plane

E = Event
VIEW = View("deck", 0.002)
COURSE = Course(25.0, 75.0, "freestyle", "block")
PLANE = placed_plane()


def at(key: str, event: Event, at_s: float, x_m: float | None = None, **more: object) -> Seen:
    seen = Seen(key, event, VIEW, at_s, 0.02, "ines")
    if x_m is not None:
        spot = PLANE.spot(*clicked(x_m, 1.25), key)
        seen = replace(seen, place=spot.x, outside=spot.outside)
    return replace(seen, **more)  # type: ignore[arg-type]


def measured(*marks: Seen) -> Measured:
    return measure_swim(marks, COURSE, Zero("heard", 0.002))


def test_a_place_is_the_distance_swum_in_the_first_length() -> None:
    swim = measured(
        at("in", E.FIRST_ENTRY, 1.1, 3.0),
        at("out", E.BREAKOUT, 4.6, 9.5),
        at("a", E.HEAD_AT_DISTANCE, 5.4, 10.0),
        at("b", E.HEAD_AT_DISTANCE, 8.5, 15.0),
    )
    told = {one.key: one.quantity for one in swim.measures}
    assert told["flight-distance"].value == pytest.approx(3.0, abs=1e-6)
    half_a_frame_m = 1.6 * 0.01  # by which the head had gone on when the frame showed it
    assert told["underwater-distance"].value == pytest.approx(9.5 - half_a_frame_m, abs=1e-6)
    assert told["segment-speed"].value == pytest.approx(5 / 3.1, rel=1e-6)
    time = swim.get("time-to-distance", at_m=10.0)
    assert time is not None and time.quantity.value == pytest.approx(5.4, abs=1e-6)  # that frame's
    assert swim.wrong == ()


def test_after_a_turn_the_metres_along_the_course_are_swum_backwards() -> None:
    assert [swum(Quantity(18.0), n, 25.0).value for n in (1, 2, 3)] == [18.0, 32.0, 68.0]
    swim = measured(
        at("touch", E.FEET_TOUCH_WALL, 15.0),
        at("out", E.BREAKOUT, 18.0, 19.0),
        at("a", E.HEAD_AT_DISTANCE, 19.0, 17.0),
        at("b", E.HEAD_AT_DISTANCE, 24.0, 9.0),
    )
    assert swim.wrong == ()
    under = swim.get("underwater-distance", 2)
    speed = swim.get("segment-speed")
    assert under is not None and under.quantity.value == pytest.approx(6.0 - 0.016, abs=1e-6)
    assert speed is not None and speed.quantity.value == pytest.approx(8 / 5, rel=1e-6)
    assert speed.at_m == pytest.approx(33.0)


def test_the_planes_error_is_shared_by_its_places_and_drops_out_as_far_as_it_is() -> None:
    """The way between two near places is surer than either place."""
    one, other = (
        PLANE.spot(*clicked(x_m, 1.25), f"s{x_m}", click_u_px=0.0).x for x_m in (10.0, 11.0)
    )
    assert (other - one).half_width_95 < 0.5 * one.half_width_95
    back = swum(other, 2, 25.0) - swum(one, 2, 25.0)
    assert back.value == pytest.approx(-1.0, abs=1e-9)
    assert back.half_width_95 == pytest.approx((other - one).half_width_95)


def test_places_of_two_planes_share_nothing() -> None:
    other = placed_plane(key="other")
    here, there = PLANE.spot(*clicked(10.0, 1.0), "a").x, other.spot(*clicked(10.0, 1.0), "b").x
    assert (there - here).u == pytest.approx(2**0.5 * here.u, rel=1e-6)


def test_what_is_typed_comes_before_the_plane_and_its_own_error_counts() -> None:
    swim = measured(at("out", E.BREAKOUT, 4.6, 9.5, distance_m=9.6, distance_u_m=0.2))
    under = swim.get("underwater-distance", 1)
    assert under is not None and under.quantity.value == 9.6
    assert under.quantity.half_width_95 == pytest.approx(0.2 * 1.959964)


@pytest.mark.parametrize(("typed", "half"), [(11.0, 0.475), (11.5, 0.0475), (11.25, 0.00475)])
def test_a_distance_read_off_without_a_half_width_is_as_sure_as_its_last_digit(
    typed: float, half: float
) -> None:
    place = place_of(at("out", E.BREAKOUT, 4.6, distance_m=typed))
    assert place is not None and place.half_width_95 == pytest.approx(half)
    head = place_of(at("h", E.HEAD_AT_DISTANCE, 4.6, distance_m=typed))
    assert head == Quantity(typed)  # a line is where it is


def test_a_distance_that_was_typed_and_the_plane_that_has_another_are_said() -> None:
    swim = measured(at("out", E.BREAKOUT, 4.6, 9.5, distance_m=11.5))
    assert len(swim.wrong) == 1
    assert swim.wrong[0].marks == ("out",)
    assert "11.5 m was typed, the plane in the picture has 9.48" in swim.wrong[0].says
    assert measured(at("out", E.BREAKOUT, 4.6, 9.5, distance_m=9.5)).wrong == ()


def test_a_camera_above_the_water_does_not_place_what_is_below_it() -> None:
    marks = (
        at("a", E.HEAD_AT_DISTANCE, 2.0, 6.0, from_above=True),
        at("out", E.BREAKOUT, 4.6, 9.5, from_above=True),
        at("b", E.HEAD_AT_DISTANCE, 8.5, 15.0, from_above=True),
    )
    swim = measured(*marks)
    assert [one.marks for one in swim.wrong] == [("a", "out")]
    assert "A camera above the water cannot say where it is below" in swim.wrong[0].says
    assert swim.get("time-to-distance", at_m=15.0) and swim.get("segment-speed") is None
    below = [replace(one, from_above=False) for one in marks]
    assert measured(*below).wrong == () and measured(*below).get("segment-speed") is not None


def test_a_place_outside_of_the_pool_is_said_and_not_taken() -> None:
    far = replace(at("a", E.HEAD_AT_DISTANCE, 8.0), place=Quantity(31.0))
    swim = measured(far)
    assert "is 31.0 m from the start wall, outside of the pool" in swim.wrong[0].says
    assert swim.measures == ()


def test_places_that_go_back_by_more_than_their_half_width_are_said() -> None:
    fine = Source("click", Shape.BELL, 0.05)
    one = replace(at("a", E.HEAD_AT_DISTANCE, 8.0), place=Quantity(15.0, {fine: 1.0}))
    near, far = (
        replace(at("b", E.HEAD_AT_DISTANCE, 8.04), place=Quantity(x)) for x in (14.95, 14.0)
    )
    assert measured(one, near).wrong == ()
    (said,) = measured(one, far).wrong
    assert "The head is at 14.0 m after it was at 15.0 m" in said.says
    assert "Is a wall between them not marked?" in said.says


def test_two_heads_at_their_places_are_two_and_no_spread() -> None:
    """Within half a second, by one person in one view: each is where it is."""
    swim = measured(at("a", E.HEAD_AT_DISTANCE, 8.0, 14.0), at("b", E.HEAD_AT_DISTANCE, 8.2, 14.4))
    assert len(swim.swim.lengths[0].heads) == 2
    speed = swim.get("segment-speed")
    assert speed is not None and speed.quantity.value == pytest.approx(2.0, rel=1e-6)


def test_a_place_without_a_plane_tells_nothing() -> None:
    swim = measured(at("a", E.HEAD_AT_DISTANCE, 8.0), at("b", E.HEAD_AT_DISTANCE, 9.0))
    assert swim.measures == () and swim.wrong == ()


def test_where_the_head_came_up_covers_on_slow_frames() -> None:
    """Heads that come up at 1.2 to 2.2 m/s before a camera of 12.5 frames per second, clicked on
    the first frame that shows them: 10 cm on at the mean, 20 at the most."""
    rng, errors, half_widths = np.random.default_rng(57), [], []
    for _ in range(1000):
        speed, came_up_s = rng.uniform(1.2, 2.2), 4.0 + rng.uniform(0, 1)
        frame_s = float(np.ceil(came_up_s * 12.5) / 12.5)
        shown_m = 10.0 + speed * (frame_s - came_up_s)
        spot = placed_plane(rng).spot(*clicked(shown_m, 1.25, rng), "out")
        out = Seen("out", E.BREAKOUT, VIEW, frame_s, 0.08, "ines", place=spot.x)
        told = measured(out).get("underwater-distance", 1)
        assert told is not None
        errors.append(told.quantity.value - 10.0)
        half_widths.append(told.quantity.half_width_95)
    assert abs(np.mean(errors)) < 0.01
    assert np.mean(np.abs(errors) <= half_widths) >= 0.93
