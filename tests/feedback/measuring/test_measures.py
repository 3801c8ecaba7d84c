"""Measures of a swim whose events are known; numbers from handbooks and result pages."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import pytest

from feedback.compute.measuring.consistency import gap, parts_of_whole, rate_times_length
from feedback.compute.measuring.events import Event, Seen, View, Zero
from feedback.compute.measuring.measure import DEFINITIONS
from feedback.compute.measuring.placed_twice import differences, spread_of
from feedback.compute.measuring.swim_marks import Course, put_in_order
from feedback.compute.measuring.time_spent import time_spent
from feedback.compute.measuring.turns import TurnZone
from feedback.compute.measuring.whole import Measured, measure_swim
from tests.feedback.measuring.swims import COURSE, TRUTH, Cameras

FAST = {"start": 2000.0, "deck": 2000.0, "window": 2000.0}
TRUE = {
    ("reaction-time", 0): 0.19,
    ("block-time", 0): 0.78,
    ("movement-time", 0): 0.59,
    ("flight-time", 0): 0.34,
    ("entry-time", 0): 0.29,
    ("time-to-entry", 0): 1.12,
    ("breakout-time", 0): 4.62,
    ("underwater-time", 1): 3.50,
    ("underwater-time", 2): 18.05 - 15.72,
    ("split", 1): 14.55,
    ("turn-rotation", 1): 0.80,
    ("turn-contact", 1): 0.37,
    ("turn-wall", 1): 1.17,
    ("turn-in", 1): 14.55 - 11.6,
    ("turn-time", 1): 20.6 - 11.6,
    ("turn-out", 1): 20.6 - 15.72,
    ("push-off-time", 1): 17.3 - 15.72,
    ("stroke-rate", 1): 60 / 1.24,
    ("stroke-rate", 2): 60 / 1.32,
    ("stroke-count", 1): 9.0,
    ("swimming-speed", 1): 10 / (11.6 - 5.35),
    ("swimming-speed", 2): 5 / 3.5,
    ("stroke-length", 1): 10 / 6.25 * 1.24,
    ("stroke-index", 2): (5 / 3.5) ** 2 * 1.32,
    ("fade", 0): 100 * (1.6 - 5 / 3.5) / 1.6,
}


def measured(**more: object) -> Measured:
    marks, zero = Cameras(**more).film()  # type: ignore[arg-type]
    return measure_swim(marks, COURSE, zero)


@pytest.mark.parametrize(("key", "number"), list(TRUE))
def test_each_measure_of_a_known_swim(key: str, number: int) -> None:
    """With fast cameras to the millisecond; with real ones within the ±."""
    fast, real = measured(fps=FAST).get(key, number), measured().get(key, number)
    assert fast is not None and real is not None
    truth = TRUE[key, number]
    assert fast.quantity.value == pytest.approx(truth, rel=2e-3, abs=6e-4)
    assert abs(real.quantity.value - truth) <= 1.3 * real.quantity.half_width_95 + 1e-9
    assert real.definition.source


def test_times_and_speeds_to_distances() -> None:
    swim = measured(fps=FAST)
    for at_m, at_s in ((5.0, 1.95), (10.0, 5.35), (15.0, 8.45)):
        told, speed = (
            swim.get("time-to-distance", at_m=at_m),
            swim.get("speed-to-distance", at_m=at_m),
        )
        assert told is not None and speed is not None
        assert told.quantity.value == pytest.approx(at_s, abs=1e-3)
        assert speed.quantity.value == pytest.approx(at_m / at_s, rel=1e-3)
    assert swim.get("speed-to-distance", at_m=20.0) is None


def test_parts_of_the_turn_make_the_whole() -> None:
    swim = measured()
    parts = [swim.get(key, 1) for key in ("turn-in", "turn-wall", "turn-out")]
    whole = swim.get("turn-time", 1)
    assert whole is not None
    total = sum(part.quantity.value for part in parts if part)
    assert parts_of_whole([total], whole.quantity.value, tolerance=1e-9).agrees


def test_zone_of_the_turn_is_the_clubs_choice() -> None:
    marks, zone = Cameras().film()[0], TurnZone(5.0, 15.0)
    swim = measure_swim(marks, COURSE, Zero("heard", 0.002), zone=zone)
    turn = swim.get("turn-time", 1)
    assert turn is not None
    assert turn.quantity.value == pytest.approx(24.1 - 11.6, abs=0.05)
    none = measure_swim(marks, COURSE, Zero("heard", 0.002), zone=TurnZone(7.5, 7.5))
    assert none.get("turn-time") is None


def blind(marks: Iterable[Seen], **begun_s: float) -> list[Seen]:
    """These views have no clock: their marks stand on an axis that begins with the recording."""
    return [
        replace(
            one,
            view=replace(one.view, clock_u_s=None),
            frame_s=one.frame_s + begun_s[one.view.key],
        )
        if one.view.key in begun_s
        else one
        for one in marks
    ]


def test_one_view_needs_no_clock_and_two_do() -> None:
    """Marks of a view whose clock is not known tell what lies between them, and nothing else."""
    marks, zero = Cameras().film()
    swim = measure_swim(blind(marks, start=7.0, deck=900.0, window=300.0), COURSE, zero)
    keys = {one.key for one in swim.measures}
    assert {"movement-time", "flight-time", "stroke-rate", "swimming-speed"} <= keys
    assert not keys & {"reaction-time", "block-time", "breakout-time", "split", "turn-in"}


@pytest.mark.parametrize("begun_s", [-400.0, 0.0, 400.0])
def test_a_view_without_a_clock_moves_no_mark_of_the_others_into_another_length(
    begun_s: float,
) -> None:
    marks, zero = Cameras(fps=FAST).film()
    other = View("beside", None)
    beside = [
        Seen(f"b{n}", event, other, at_s + begun_s, 1 / 50, "ines")
        for n, (event, at_s, _distance_m, _view) in enumerate(TRUTH)
        if event not in (Event.HEAD_AT_DISTANCE, Event.FULL_ENTRY)
    ]
    assert measure_swim([*marks, *beside], COURSE, zero) == measure_swim(marks, COURSE, zero)
    deck = [one for one in marks if one.view.key != "start"]
    swim = measure_swim([*deck, *beside], COURSE, zero)
    assert swim.wrong == ()
    assert swim.get("flight-time") and swim.get("block-time") is None  # of its own two marks
    rate = swim.get("stroke-rate", 2)
    assert rate is not None and rate.quantity.value == pytest.approx(60 / 1.32, rel=1e-3)


def test_arms_that_differ_count_as_whole_cycles() -> None:
    """A cycle is from a hand's entry to the next of the same hand (nataswim.info): with one arm
    0.7 s and the other 0.5 s it takes 1.2 s, 50 a minute, however many strokes are marked."""
    view = View("deck", 0.001)
    entries = [5.0 + 1.2 * (n // 2) + 0.7 * (n % 2) for n in range(12)]
    course = Course(50, 50, "freestyle", "block")
    for count in range(2, 12):
        marks = [Seen(f"h{n}", Event.HAND_ENTRY, view, entries[n], 0.02) for n in range(count)]
        rate = measure_swim(marks, course, Zero("heard", 0.001)).get("stroke-rate", 1)
        if count == 2:
            assert rate is None  # half a cycle is none
        else:
            assert rate is not None and rate.quantity.value == pytest.approx(50.0)


def swimming(*marks: tuple[Event, float, float | None]) -> Measured:
    view = View("deck", 0.001)
    seen = [Seen(f"m{n}", e, view, t, 0.02, "", m) for n, (e, t, m) in enumerate(marks)]
    return measure_swim(seen, Course(50, 50, "freestyle", "block"), Zero("heard", 0.001))


def test_what_may_be_under_water_is_no_speed_of_swimming() -> None:
    """Freestyle, backstroke and butterfly: the head is up 15 m after a wall at the latest (World
    Aquatics swimming rules, SW 5.3, by memory; USMS 101.3.2)."""
    head, hand = Event.HEAD_AT_DISTANCE, Event.HAND_ENTRY
    heads = [(head, 1.9, 5.0), (head, 4.5, 10.0), (head, 7.6, 15.0), (head, 10.8, 20.0)]
    speed = swimming(*heads).get("swimming-speed", 1)
    assert speed is not None and speed.at_m == 15.0
    assert swimming(*heads[:3]).get("swimming-speed") is None
    from_hands = swimming((hand, 4.2, None), *heads).get("swimming-speed", 1)
    assert from_hands is not None and from_hands.at_m == 10.0
    from_out = swimming((Event.BREAKOUT, 5.0, None), *heads).get("swimming-speed", 1)
    assert from_out is not None and from_out.at_m == 15.0


def test_nobody_fades_from_one_stroke_to_another() -> None:
    marks, zero = Cameras().film()
    assert measure_swim(marks, COURSE, zero).get("fade")
    mixed = replace(COURSE, stroke="medley", strokes=("butterfly", "breaststroke", "freestyle"))
    nobody_said = replace(COURSE, stroke="medley")
    for course in (mixed, nobody_said):
        assert measure_swim(marks, course, zero).get("fade") is None


def test_nothing_but_a_movement_is_before_the_start() -> None:
    """A start that was tapped late, or a mark on a frame before it."""
    marks, _zero = Cameras().film()
    late = Zero("tap", 0.15, at_s=6.0)
    swim = measure_swim(marks, COURSE, late)
    since = {"block-time", "time-to-entry", "breakout-time", "split", "time-to-distance"}
    assert {one.key for one in swim.measures if one.quantity.value <= 0} == {"reaction-time"}
    assert since & {one.key for one in swim.measures} == {"split", "time-to-distance"}
    spent = time_spent(swim)
    assert spent is None or min(part.value for _name, part in spent.parts) > 0


def test_a_gap_in_a_recording_before_a_frame_makes_a_wide_half_width() -> None:
    """Cameras of variable frame rate stop for as long as they like."""
    mark = Seen("m", Event.BREAKOUT, View("web", 0.001), 25.0, 12.0)
    told = measure_swim([mark], COURSE, Zero("heard", 0.001)).get("breakout-time")
    assert told is not None and told.quantity.value == pytest.approx(19.0)
    assert told.quantity.half_width_95 == pytest.approx(0.95 * 6.0, rel=1e-3)


def test_a_tapped_start_says_how_unsure_it_is() -> None:
    marks, _zero = Cameras().film()
    heard = measure_swim(marks, COURSE, Zero("heard", 0.002)).get("block-time")
    tapped = measure_swim(marks, COURSE, Zero("tap", 0.150)).get("block-time")
    assert heard is not None and tapped is not None
    assert heard.quantity.half_width_95 < 0.012
    assert tapped.quantity.half_width_95 > 0.29


def test_half_a_frame_is_taken_off() -> None:
    """25 frames/s against 59.94 differ by 11.6 ms, 25 frames/s against sound by 20 ms if it is
    not. Arithmetic on "the first frame at or after"."""
    slow, fast = View("slow", 0.0), View("fast", 0.0)
    rng = np.random.default_rng(3)
    off = []
    for _ in range(4000):
        at_s = rng.uniform(1, 2)
        frames = []
        for view, fps in ((slow, 25.0), (fast, 59.94)):
            phase = rng.uniform(0, 1 / fps)
            shown = np.ceil((at_s - phase) * fps) / fps + phase
            frames.append(Seen(view.key, Event.BREAKOUT, view, float(shown), 1 / fps))
        course = Course(25, 25, "freestyle", "block")
        told = measure_swim(frames[:1], course, Zero("heard", 0.0)).get("breakout-time")
        assert told is not None
        off.append((frames[0].frame_s - frames[1].frame_s, told.quantity.value - at_s))
    raw, taken_off = np.mean(off, axis=0)
    assert raw == pytest.approx(0.0116, abs=0.001)
    assert taken_off == pytest.approx(0.0, abs=0.001)


def test_breaststroke_counts_body_cycles() -> None:
    """SR = 180 / T3 for three cycles (docslib.org/doc/815674); 0.79 cycles a second and 1.61 m
    at 1.27 m/s (elite girls, 100 m breaststroke, seen on a secondary page)."""
    view = View("deck", 0.001)
    period = 1 / 0.79
    marks = [Seen(f"h{n}", Event.HAND_ENTRY, view, 5 + n * period, 1e-3) for n in range(4)]
    heads = [
        Seen(f"d{n}", Event.HEAD_AT_DISTANCE, view, 5 + n * 5 / 1.27, 1e-3, "", 10.0 + 5 * n)
        for n in range(2)
    ]
    course = Course(50, 50, "breaststroke", "block")
    swim = measure_swim([*marks, *heads], course, Zero("heard", 0.001))
    rate, length = swim.get("stroke-rate", 1), swim.get("stroke-length", 1)
    assert rate is not None and length is not None
    assert rate.quantity.value == pytest.approx(180 / (3 * period), rel=1e-6)
    assert length.quantity.value == pytest.approx(1.61, abs=0.01)


@pytest.mark.parametrize(
    ("rate", "length", "speed", "index"),
    [(50.0, 2.00, 1.667, 3.333), (54.0, 1.85, 1.667, None), (50.4, 1.90, 1.59, None)],
)
def test_rows_of_handbooks_agree(
    rate: float, length: float, speed: float, index: float | None
) -> None:
    """swimmersden.com/TubblyLynn/Testing.htm (50 m, 30 s, 25 strokes); openwaterpedia.com,
    stroke rate (100 m, 60 s, 54 cycles); elite girls 100 m freestyle (secondary page)."""
    assert rate_times_length(rate, length, speed).agrees
    if index is not None:
        assert speed * length == pytest.approx(index, abs=2e-3)


@pytest.mark.parametrize(("rate", "length", "index"), [(55.86, 1.89, 3.31), (54.34, 1.67, 2.51)])
def test_group_means_agree_within_a_per_cent(rate: float, length: float, index: float) -> None:
    """Spanish women, 50 m freestyle short course (bms.sport-iat.de/bms/Record/4065799): means of
    groups, so the product differs by their covariance."""
    speed = rate / 60 * length
    assert rate_times_length(rate, length, speed, tolerance=0.01).agrees
    assert speed * length == pytest.approx(index, rel=0.01)


@pytest.mark.parametrize(("rate", "length", "speed"), [(32.4, 1.31, 0.54), (50.0, 2.0, 2.0)])
def test_rows_that_do_not_go_together_are_flagged(rate: float, length: float, speed: float) -> None:
    """Two printed rows that cannot be: 31 % apart (a secondary page), and "2 m a cycle at 2 m/s"
    with 50 cycles a minute, which needs 60 (sporttoday.org)."""
    assert not rate_times_length(rate, length, speed).agrees


def test_splits_of_a_final() -> None:
    """Men's 100 m freestyle, 2019 (swimswam.com): field 22.85 and 25.04, 2.19 apart; the page's
    0.91 between 25.31 and 24.60 is wrong."""
    assert gap(25.04, 22.85, 2.19).agrees
    assert gap(24.60, 22.69, 1.91).agrees
    assert gap(25.31, 22.94, 2.37).agrees
    assert not gap(25.31, 24.60, 0.91).agrees
    assert pytest.approx(22.85, abs=0.005) == (3 * 22.69 + 5 * 22.94) / 8


def test_shares_of_a_race() -> None:
    """100 m breaststroke short course, 15 men (mdpi.com/1660-4601/17/17/6257): start, turns,
    swimming and finish are 99.98 % together."""
    assert parts_of_whole([11.39, 44.30, 38.93, 5.36], 100.0).agrees
    assert not parts_of_whole([11.39, 44.30, 38.93], 100.0).agrees


def test_two_people_give_a_spread_that_widens_the_uncertainty() -> None:
    marks, zero = Cameras(fps=FAST).film()
    again = [
        replace(one, key=f"{one.key}b", by="jun", frame_s=one.frame_s + 0.04)
        for one in marks
        if one.event is Event.BREAKOUT
    ]
    alone = measure_swim(marks, COURSE, zero).get("breakout-time")
    both = measure_swim([*marks, *again], COURSE, zero, by="ines").get("breakout-time")
    assert alone is not None and both is not None
    assert both.quantity.value == alone.quantity.value
    assert spread_of([*marks, *again])[Event.BREAKOUT] == pytest.approx(0.04 / 2**0.5)
    assert both.quantity.half_width_95 > 5 * alone.quantity.half_width_95
    told = [round(apart, 3) for _one, _other, apart in differences([*marks, *again])]
    assert told == [0.04, 0.04]
    of_jun = measure_swim([*marks, *again], COURSE, zero, by="jun").get("breakout-time")
    assert of_jun is not None
    assert of_jun.quantity.value == pytest.approx(alone.quantity.value + 0.04)


def test_difference_between_two_swims_says_whether_it_exceeds_its_uncertainty() -> None:
    now, before = measured(), measured()
    one, other = now.get("breakout-time"), before.get("breakout-time")
    assert one is not None and other is not None
    assert not one.quantity.is_other_than(other.quantity)
    later = other.quantity.plus(0.2)
    assert one.quantity.is_other_than(later)


def test_order_of_marks_given_changes_nothing() -> None:
    marks, zero = Cameras().film()
    rng = np.random.default_rng(5)
    shuffled = [marks[n] for n in rng.permutation(len(marks))]
    assert measure_swim(shuffled, COURSE, zero) == measure_swim(marks, COURSE, zero)


def test_every_definition_is_used_or_said() -> None:
    made = {one.key for one in measured().measures}
    marks, _zero = Cameras().film()
    three = put_in_order(marks, COURSE)
    assert len(three.lengths) == 2
    places = {"underwater-distance", "flight-distance"}
    others = {"length-time", "length-speed", *places}  # need a second wall, a place
    assert set(DEFINITIONS) - made == others
