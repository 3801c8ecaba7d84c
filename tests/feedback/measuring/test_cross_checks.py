"""The same thing told twice by marks that do not depend on each other."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from feedback.compute.measuring.events import Event, Seen, View, Zero
from feedback.compute.measuring.whole import Measured, measure_swim
from tests.feedback.measuring.planes import clicked, placed_plane
from tests.feedback.measuring.swims import COURSE, Cameras, another_swim

E = Event
DECK, WINDOW = View("deck", 0.003), View("window", 0.003)


def measured(*marks: Seen) -> Measured:
    return measure_swim(marks, COURSE, Zero("heard", 0.002))


def test_an_event_in_two_views_agrees_within_frames_and_clocks() -> None:
    one = Seen("a", E.FEET_TOUCH_WALL, DECK, 15.00, 0.04, "ines")
    near = Seen("b", E.FEET_TOUCH_WALL, WINDOW, 15.01, 0.02, "ines")
    assert measured(one, near).wrong == ()
    far = replace(near, frame_s=15.08)
    (said,) = measured(one, far).wrong
    assert set(said.marks) == {"a", "b"}
    assert "“feet touch wall” is marked in two views, 0.090 s apart" in said.says  # half frames off
    unknown = replace(far, view=View("window", None))
    assert not [w for w in measured(one, unknown).wrong if "two views" in w.says]


def test_two_people_who_differ_widen_what_two_views_may_differ_by() -> None:
    one = Seen("a", E.FEET_TOUCH_WALL, DECK, 15.00, 0.04, "ines")
    also = Seen("c", E.FEET_TOUCH_WALL, DECK, 15.12, 0.04, "jun")
    far = Seen("b", E.FEET_TOUCH_WALL, WINDOW, 15.08, 0.02, "ines")
    assert not [w for w in measured(one, also, far).wrong if "two views" in w.says]


def walls(*at_s: float) -> Measured:
    return measured(
        *(
            Seen(f"w{n}", E.FEET_TOUCH_WALL, WINDOW, s, 0.02, "ines")
            for n, s in enumerate(at_s, start=1)
        )
    )


def test_a_length_that_lasts_as_long_as_two_may_hide_a_wall() -> None:
    assert walls(15.0, 31.5, 49.0).wrong == ()
    (said,) = walls(15.0, 48.5).wrong
    assert said.marks == ("w2",)
    assert "Length 2 took 33.5 s, length 1 15.0 s. Is a wall in it not marked?" in said.says
    (first,) = walls(31.5, 48.0).wrong
    assert first.marks == ("w1",) and "Length 1 took 31.5 s, length 2 16.5 s" in first.says


def hands_and_heads(
    way_per_cycle_m: float, speed: float = 1.5, unseen: int | None = None
) -> Measured:
    """Hands from 11 m on, two a cycle and 1.2 s a cycle; heads at 10 and 20 m, at `speed`.
    `unseen`: which hand has no place."""
    plane = placed_plane()
    hands = []
    for n in range(7):
        spot = plane.spot(*clicked(11.0 + n * way_per_cycle_m / 2, 1.25), f"h{n}")
        place = spot.x if n != unseen else None
        hands.append(Seen(f"h{n}", E.HAND_ENTRY, DECK, 6.0 + 0.6 * n, 0.02, "ines", place=place))
    heads = [
        Seen(f"d{m:g}", E.HEAD_AT_DISTANCE, DECK, 6.0 + (m - 10.0) / speed, 0.02, "ines", m)
        for m in (10.0, 20.0)
    ]
    return measured(*hands, *heads)


def test_hands_that_go_as_far_as_the_head_agree() -> None:
    """1.8 m in 1.2 s are the head's 1.5 m/s."""
    assert hands_and_heads(1.8).wrong == ()


def test_hands_that_go_less_far_than_the_head_are_said_with_their_marks() -> None:
    (said,) = hands_and_heads(1.5).wrong
    assert said.marks == ("h1", "h5", "d10", "d20")
    assert "makes 1.25 m/s; from head to head it is 1.50 m/s" in said.says


def test_a_hand_without_a_place_is_a_stroke_all_the_same() -> None:
    (said,) = hands_and_heads(1.5, unseen=3).wrong
    assert "go in 1.50 m apart from cycle to cycle, which at 50.0 cycles a minute" in said.says


def test_hands_without_places_are_no_check() -> None:
    """Stroke length is then worked out from the speed: the same by construction."""
    marks, zero = Cameras().film()
    assert measure_swim(marks, COURSE, zero).wrong == ()


def test_right_marks_are_hardly_ever_called_wrong() -> None:
    """Turns marked in two views, on drawn swims: beyond a ± of 95 % in at most 7 of 100."""
    rng, called, of = np.random.default_rng(41), 0, 400
    cameras = Cameras(clock_u_s=0.004)
    for _ in range(of):
        events = another_swim(rng)
        touch = next(row for row in events if row[0] is E.FEET_TOUCH_WALL)
        marks, zero = cameras.film(rng, (*events, (*touch[:3], "deck")))
        found = measure_swim(marks, COURSE, zero).wrong
        called += any("two views" in one.says for one in found)
    assert called / of <= 0.07
