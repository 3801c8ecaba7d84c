"""The pool hour planned again on the day. The simulated lane (rotation_simulation.py), which
knows nothing of the planner, says whether anybody meets anybody."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinics.compute.errors import BadInput
from clinics.compute.rotation import (
    ClinicHour,
    Day,
    Goer,
    Late,
    Part,
    Started,
    Timetable,
    closing,
    in_lane_s,
    plan_hour,
    replan,
    rest,
    slip_s,
)
from tests.clinics.rotation_simulation import Call, Seen, Talk, simulate
from tests.clinics.test_rotation import crowds, hours

HOUR = ClinicHour(course_m=25.0, distance_m=75.0, pool_time_s=1800.0)
GOERS = [Goer(f"{group}{n}", group, 80.0) for group in "ABC" for n in (1, 2, 3)]
PLAN = plan_hour(HOUR, GOERS)
"""Alike: gap 70 s. A starts at 60, 130, 200, out at 270; B at 360, 430, 500; C at 660, 730, 800."""


def starts(day: Day) -> list[tuple[object, float]]:
    return [(slot.key, slot.start_s) for slot in day.slots]


def log(**at_s: float) -> list[Started]:
    return [Started(key, at) for key, at in at_s.items()]


def run(plan: Timetable, day: Day) -> Seen:
    """What was swum as expected and what is to come, in the simulated lane."""
    pace = {goer.key: goer.pace_s_per_100m for goer in plan.goers}
    talks = [
        Talk(row.briefing_from_s, row.briefing_to_s, n, not plan.hour.briefs_on_deck)
        for n, row in enumerate(day.rows)
        if row.briefing_from_s is not None and row.briefing_to_s is not None
    ]
    calls = [Call(slot.start_s, slot.key, pace[slot.key], -1) for slot in day.done]
    for n, slots in enumerate(slots_by_row(day)):
        calls += [Call(slot.start_s, slot.key, pace[slot.key], n) for slot in slots]
    return simulate(
        course_m=plan.hour.course_m,
        distance_m=plan.hour.distance_m,
        climbing_out_s=plan.hour.climbing_out_s,
        calls=calls,
        talks=talks,
    )


def slots_by_row(day: Day) -> list[list]:
    left, found = list(day.slots), []
    for row in day.rows:
        found.append(left[: row.swimmers])
        left = left[row.swimmers :]
    assert not left
    return found


# --- what becomes of the timetable ----------------------------------------------------------------


def test_nothing_has_happened_yet() -> None:
    day = replan(PLAN, now_s=-900.0)
    assert (day.slots, day.rows, day.spare_s) == (PLAN.slots, PLAN.rows, PLAN.spare_s)
    assert slip_s(PLAN, day) == 0


def test_a_late_begin_moves_everybody() -> None:
    day = replan(PLAN, now_s=659.5)
    assert [start - 600 for _, start in starts(day)] == [slot.start_s for slot in PLAN.slots]
    assert slip_s(PLAN, day) == 600
    assert day.spare_s == PLAN.spare_s - 600


def test_who_swims_is_waited_for_and_who_has_swum_is_not_repeated() -> None:
    day = replan(PLAN, started=log(A1=75.4, A2=150.2), now_s=160.0)
    assert [slot.key for slot in day.done] == ["A1", "A2"]
    assert starts(day)[0] == ("A3", 221)  # 150.2 + 70, at a whole second
    assert starts(day)[1] == ("B1", 221 + 70 + 30 + 60)
    assert len(day.slots) == 7
    assert slip_s(PLAN, day) == 21


def test_a_briefing_that_could_be_held_by_now_has_been() -> None:
    started = log(A1=60, A2=130, A3=200)
    assert starts(replan(PLAN, started=started, now_s=280.0))[0] == ("B1", 360)
    assert starts(replan(PLAN, started=started, now_s=400.0))[0] == ("B1", 400)


def test_a_no_show_brings_the_rest_forward() -> None:
    day = replan(PLAN, started=log(A1=60), no_shows={"A2", "B1"}, now_s=70.0)
    assert starts(day)[:3] == [("A3", 130), ("B2", 290), ("B3", 360)]
    assert slip_s(PLAN, day) == -70
    assert "A2" not in dict(starts(day)) and "B1" not in dict(starts(day))


def test_without_its_slowest_a_group_goes_at_a_shorter_gap() -> None:
    goers = [*GOERS[:3], Goer("A4", "A", 120.0)]
    plan = plan_hour(HOUR, goers)
    assert plan.rows[0].gap_s == 100
    day = replan(plan, started=log(A1=60), no_shows=["A4"], now_s=65.0)
    assert starts(day) == [("A2", 130), ("A3", 200)]


def test_a_group_of_which_nobody_came_takes_no_time() -> None:
    day = replan(PLAN, no_shows=["A1", "A2", "A3"], now_s=0.0)
    assert starts(day)[0] == ("B1", 60)
    assert [row.group for row in day.rows] == ["B", "C"]


def test_the_beat_stays_that_of_the_slowest_of_the_group() -> None:
    """Whether the slowest has gone or not: A1 needs 55 s, A2 100 s, A3 70 s."""
    goers = [Goer("A1", "A", 60.0), Goer("A2", "A", 120.0), *GOERS[2:4]]
    plan = plan_hour(HOUR, goers)
    assert starts(replan(plan, started=log(A1=60), now_s=65.0))[:2] == [("A2", 160), ("A3", 260)]
    turned = [goers[1], goers[0], *goers[2:]]
    day = replan(plan_hour(HOUR, turned), started=log(A2=60, A1=160), now_s=170.0)
    assert starts(day)[:2] == [("A3", 260), ("B1", 260 + 70 + 90)]


def test_a_briefing_on_deck_while_the_group_under_way_swims() -> None:
    """A began at 60: 200 s of briefing are over at 260, before A3 is out at 270."""
    plan = plan_hour(replace(HOUR, briefs_on_deck=True, briefing_s=200.0), GOERS)
    day = replan(plan, started=log(A1=60, A2=130), now_s=140.0)
    assert starts(day)[:2] == [("A3", 200), ("B1", 270 + 30)]
    assert (day.rows[1].briefing_from_s, day.rows[1].briefing_to_s) == (70.0, 270.0)


# --- late -----------------------------------------------------------------------------------------


def test_late_but_there_by_the_end_of_the_group() -> None:
    """Behind A2 and A3, A1's turn comes at 200."""
    day = replan(PLAN, late=[Late("A1", 200.0)], now_s=0.0)
    assert starts(day)[:3] == [("A2", 60), ("A3", 130), ("A1", 200)]
    assert [slot.part for slot in day.slots[:3]] == [Part.LANE_GROUP] * 2 + [Part.LATE]


def test_late_after_the_group_goes_last() -> None:
    day = replan(PLAN, late=[Late("A1", 201.0)], now_s=0.0)
    assert starts(day)[:3] == [("A2", 60), ("A3", 130), ("B1", 290)]
    assert starts(day)[-1] == ("A1", 730 + 70 + 30)
    assert day.slots[-1].part is Part.LAST
    assert (day.rows[-1].part, day.rows[-1].group) == (Part.LAST, None)


def test_a_late_slow_swimmer_widens_the_gap_of_the_group() -> None:
    plan = plan_hour(HOUR, [*GOERS[:3], Goer("A4", "A", 160.0)])
    day = replan(plan, late=[Late("A4", 0.0)], now_s=0.0)
    assert starts(day) == [("A1", 60), ("A2", 190), ("A3", 320), ("A4", 450)]


def test_late_when_the_group_is_over() -> None:
    started = log(A1=60, A2=130, B1=290, B2=360)
    day = replan(PLAN, started=started, late=[Late("A3", 365.0)], now_s=366.0)
    assert [key for key, _ in starts(day)] == ["B3", "C1", "C2", "C3", "A3"]


def test_two_who_come_last_go_when_they_are_there() -> None:
    late = [Late("A1", 2000.0), Late("B1", 900.0)]
    day = replan(PLAN, late=late, now_s=0.0)
    assert starts(day)[-2:] == [("B1", 900), ("A1", 2000)]
    assert day.over_time == ("A1",)
    assert day.spare_s == 1800 - 2070


def test_the_last_who_go_are_not_sent_away_and_called_again() -> None:
    """The change-over to those who go last comes once."""
    started = [Started(slot.key, slot.start_s) for slot in PLAN.slots if slot.key != "A1"]
    late = [Late("A1", 900.0), Late("B1", 900.0)]
    first = replan(PLAN, started=[one for one in started if one.key != "B1"], late=late, now_s=870)
    assert starts(first) == [("A1", 900), ("B1", 970)]
    then = [one for one in started if one.key != "B1"] + log(A1=905)
    assert starts(replan(PLAN, started=then, late=late, now_s=910)) == [("B1", 975)]


def test_those_who_go_last_go_fastest_first() -> None:
    goers = [*GOERS[:7], Goer("C2", "C", 100.0), Goer("C3", "C", 60.0)]
    late = [Late("C2", 1000.0), Late("C3", 1000.0)]
    day = replan(plan_hour(HOUR, goers), late=late, now_s=0.0)
    assert starts(day)[-2:] == [("C3", 1000), ("C2", 1085)]


def test_who_started_is_neither_late_nor_a_no_show() -> None:
    day = replan(PLAN, started=log(A1=60), no_shows=["A1"], late=[Late("A1", 900.0)], now_s=61.0)
    assert "A1" not in dict(starts(day))
    assert replan(PLAN, no_shows=["A1"], late=[Late("A1", 0.0)], now_s=0.0).slots[2].key == "A1"


# --- who has the lane -----------------------------------------------------------------------------


def test_who_was_not_called_a_no_show_is_awaited_until_the_next_group_has_the_lane() -> None:
    one = replan(PLAN, started=log(A1=60, A2=130, B1=300), now_s=310.0)
    assert [key for key, _ in starts(one)][:2] == ["A3", "B2"]
    two = replan(PLAN, started=log(A1=60, A2=130, B1=300, B2=370), now_s=380.0)
    assert [key for key, _ in starts(two)] == ["B3", "C1", "C2", "C3", "A3"]
    assert starts(two)[0] == ("B3", 440)


def test_the_first_of_the_next_group_has_the_lane_when_nobody_is_left_before() -> None:
    started = log(A1=60, A2=130, A3=200, B1=360)
    assert starts(replan(PLAN, started=started, now_s=365.0))[:2] == [("B2", 430), ("B3", 500)]
    without = [one for one in started if one.key != "A3"]
    for said in ({"no_shows": ["A3"]}, {"late": [Late("A3", 900.0)]}):
        assert starts(replan(PLAN, started=without, now_s=365.0, **said))[0] == ("B2", 430)


def test_who_was_late_and_goes_with_the_next_group_does_not_end_that() -> None:
    started = log(A1=60, A2=130, B1=290, A3=360)
    day = replan(PLAN, started=started, late=[Late("A3", 350.0)], now_s=365.0)
    assert starts(day)[:3] == [("B2", 430), ("B3", 500), ("C1", 660)]


def test_two_late_ones_of_a_group_that_is_over_do_not_end_another() -> None:
    """C3 is still awaited after A1 and A2 went late, one after the other."""
    started = log(A3=60, B1=290, B2=360, B3=430, C1=600, C2=670, A1=740, A2=810)
    late = [Late("A1", 700.0), Late("A2", 700.0)]
    day = replan(PLAN, started=started, late=late, now_s=815.0)
    assert [(slot.key, slot.part) for slot in day.slots] == [("C3", Part.LANE_GROUP)]


def test_somebody_who_goes_with_another_group_does_not_end_it() -> None:
    day = replan(PLAN, started=log(A1=60, C3=130, A2=200), now_s=210.0)
    assert [key for key, _ in starts(day)] == ["A3", "B1", "B2", "B3", "C1", "C2"]
    assert [row.group for row in day.rows] == ["A", "B", "C"]


def test_the_slow_one_who_goes_with_a_fast_group_is_waited_for() -> None:
    plan = plan_hour(HOUR, [*GOERS, Goer("D1", "D", 200.0)])
    day = replan(plan, started=log(A1=60, D1=130), now_s=140.0)
    assert starts(day)[0] == ("A2", 130 + 150 + 10)


def test_groups_that_changed_places_at_the_pool() -> None:
    day = replan(PLAN, started=log(B1=60, B2=130), now_s=140.0)
    assert [key for key, _ in starts(day)] == ["B3", "A1", "A2", "A3", "C1", "C2", "C3"]


def test_who_is_moved_on_the_day_is_in_a_new_plan_with_the_same_log() -> None:
    moved = [replace(goer, group="C") if goer.key == "A3" else goer for goer in GOERS]
    day = replan(plan_hour(HOUR, moved, "ABC"), started=log(A1=60, A2=130), now_s=140.0)
    assert [key for key, _ in starts(day)] == ["B1", "B2", "B3", "A3", "C1", "C2", "C3"]


def test_overtaken_swimmers_do_not_count_as_delay() -> None:
    """A2 was not there, A3 went in time; nobody has said yet that A2 does not come."""
    day = replan(PLAN, started=log(A1=60, A3=130), now_s=140.0)
    assert starts(day)[0] == ("A2", 200)
    assert slip_s(PLAN, day) == 0  # B is on time


def test_the_delay_of_who_is_late_is_not_that_of_the_clinic() -> None:
    started = [Started(slot.key, slot.start_s) for slot in PLAN.slots[:-1]]
    day = replan(PLAN, started=started, late=[Late("C3", 1500.0)], now_s=1000.0)
    assert starts(day) == [("C3", 1500)]
    assert slip_s(PLAN, day) == 0


def test_slip_when_all_have_gone_and_when_nobody_can_be_asked() -> None:
    started = [Started(slot.key, slot.start_s + 45) for slot in PLAN.slots]
    assert slip_s(PLAN, replan(PLAN, started=started, now_s=2000.0)) == 45
    assert slip_s(PLAN, replan(PLAN, no_shows=[g.key for g in GOERS], now_s=5.0)) == 0


def test_two_starts_at_one_instant_are_taken_in_running_order() -> None:
    one, two = log(A1=60, A2=60), log(A2=60, A1=60)
    day = replan(PLAN, started=one, now_s=61.0)
    assert [slot.key for slot in day.done] == ["A1", "A2"]
    assert day == replan(PLAN, started=two, now_s=61.0)


def test_a_start_logged_twice_is_one() -> None:
    started = [*log(A1=60), Started("A1", 61.5)]
    day = replan(PLAN, started=started, second_goes=["A1"], now_s=65.0)
    assert [(slot.key, slot.go_no) for slot in day.done] == [("A1", 1)]
    assert day.slots[-1].go_no == 2


def test_whoever_was_started_next_found_a_clear_lane() -> None:
    """D1 was to swim for 310 s, gave up, and A1 went."""
    plan = plan_hour(HOUR, [*GOERS, Goer("D1", "D", 400.0)])
    day = replan(plan, started=log(D1=60, A1=120), now_s=125.0)
    assert [slot.out_s for slot in day.done] == [120, 190]
    assert starts(day)[0] == ("A2", 190)


# --- second goes ----------------------------------------------------------------------------------

ALL_GONE = [Started(slot.key, slot.start_s) for slot in PLAN.slots]  # the last is out at 870


def test_second_goes_come_at_the_end_in_the_order_of_asking() -> None:
    day = replan(PLAN, started=ALL_GONE, second_goes=["B1", "A1", "B1"], now_s=820.0)
    assert starts(day) == [("B1", 900), ("A1", 970)]  # out at 870, 30 s to change
    assert {(slot.go_no, slot.part) for slot in day.slots} == {(2, Part.SECOND)}
    assert day.no_second == () and day.spare_s == 1800 - 1040


def test_nobody_goes_again_without_a_rest() -> None:
    """C3 is out at 870 and rested at 1050; A1 asked later and goes meanwhile."""
    day = replan(PLAN, started=ALL_GONE, second_goes=["C3", "A1"], now_s=870.0)
    assert starts(day) == [("A1", 900), ("C3", 1050)]


def test_second_goes_that_do_not_fit_are_said() -> None:
    """From 900 on there are 500 s: seven goes of 70 s."""
    plan = plan_hour(replace(HOUR, pool_time_s=1400.0), GOERS)
    asked = ["A1", "A2", "A3", "B1", "B2", "B3", "C1", "C2"]
    day = replan(plan, started=ALL_GONE, second_goes=asked, now_s=820.0)
    assert [key for key, _ in starts(day)] == asked[:7]  # 900 + 7 * 70 = 1390
    assert day.no_second == ("C2",)
    assert day.over_time == () and day.spare_s == 10


def test_a_slow_second_go_that_does_not_fit_keeps_nobody_from_it() -> None:
    goers = [*GOERS[:8], Goer("C3", "C", 400.0)]
    plan = plan_hour(replace(HOUR, pool_time_s=1400.0), goers)
    started = [*ALL_GONE[:8]]  # C3 did not come; the others are out at 800
    day = replan(plan, started=started, no_shows=["C3"], second_goes=["C3", "A1"], now_s=820.0)
    assert starts(day) == [("A1", 830)]
    assert day.no_second == ("C3",)


def test_a_second_go_that_was_swum_is_not_planned_again() -> None:
    started = [*ALL_GONE, Started("A1", 900.0)]
    day = replan(PLAN, started=started, second_goes=["A1", "A2"], now_s=905.0)
    assert starts(day) == [("A2", 970)]  # no change-over: they go one after the other
    assert day.no_second == ()
    assert day.done[-1].part is Part.SECOND


def test_a_second_go_between_two_groups_is_none_of_those_at_the_end() -> None:
    """A1 went again at 600; B and C are to come, and the change to A2's second after them."""
    started = log(A1=60, A2=130, A3=200, B1=360, B2=430, B3=500, C1=660, C2=730, A1_=810)
    started = [replace(one, key=one.key.rstrip("_")) for one in started]
    day = replan(PLAN, started=started, second_goes=["A1", "A2"], now_s=815.0)
    assert starts(day) == [("C3", 880), ("A2", 880 + 70 + 30)]


def test_a_quick_second_go_waits_for_a_slow_one() -> None:
    plan = plan_hour(HOUR, [*GOERS[:8], Goer("C3", "C", 200.0)])
    started = [*ALL_GONE, Started("C3", 1200.0)]  # out at 1360
    day = replan(plan, started=started, second_goes=["C3", "A1"], now_s=1210.0)
    assert starts(day) == [("A1", 1360)]


def test_second_goes_while_the_lane_would_wait_for_somebody_late() -> None:
    """The last regular one is out at 800. Until 1200 five and a half gaps remain."""
    started = ALL_GONE[:-1]
    asked = ["A1", "A2", "A3", "B1", "B2", "B3"]
    day = replan(PLAN, started=started, late=[Late("C3", 1200.0)], second_goes=asked, now_s=800.0)
    expected = [("A1", 830), ("A2", 900), ("A3", 970), ("B1", 1040), ("C3", 1200), ("B2", 1300)]
    assert starts(day) == [*expected, ("B3", 1370)]


def test_first_goes_have_their_time_before_any_second() -> None:
    plan = plan_hour(replace(HOUR, pool_time_s=870.0), GOERS)
    day = replan(plan, second_goes=["A1"], now_s=0.0)
    assert day.slots == plan.slots
    assert day.no_second == ("A1",) and day.over_time == () and day.spare_s == 0
    late = replan(plan, second_goes=["A1"], now_s=61.0)
    assert late.over_time == ("C3",) and late.spare_s == -1


# --- any day --------------------------------------------------------------------------------------


@st.composite
def days(draw: st.DrawFn) -> tuple[Timetable, dict]:
    """A plan and what can have happened: the lane was clear at each start that was logged."""
    hour, goers = draw(hours), draw(crowds(most=10))
    plan = plan_hour(hour, goers)
    keys = [goer.key for goer in plan.goers]
    went = keys[: draw(st.integers(0, len(keys)))]
    if draw(st.booleans()):
        went = draw(st.permutations(keys))[: len(went)]
    again = draw(st.lists(st.sampled_from(went), max_size=2, unique=True)) if went else []
    at_s, started = draw(st.floats(min_value=-60, max_value=600)), []
    by_key = {goer.key: goer for goer in goers}
    for key in [*went, *again]:
        started.append(Started(key, at_s))
        at_s += in_lane_s(hour, by_key[key]) + draw(st.floats(min_value=0.001, max_value=90))
    since_s = draw(st.floats(min_value=0, max_value=600))
    now_s = started[-1].at_s + since_s if started else at_s
    some = st.lists(st.sampled_from(keys), max_size=4, unique=True)
    late = [Late(key, now_s + draw(st.floats(-300, 3000))) for key in draw(some)]
    said = {"no_shows": draw(some), "late": late, "second_goes": draw(some)}
    return plan, {"started": started, "now_s": now_s, **said}


def goes(day: Day) -> Counter:
    return Counter((slot.key, slot.go_no) for slot in [*day.done, *day.slots])


@settings(max_examples=60, deadline=None)
@given(days())
def test_whatever_happened_nobody_is_lost_repeated_or_met(given_day: tuple) -> None:
    plan, said = given_day
    day = replan(plan, **said)
    assert run(plan, day).trouble == []
    found = goes(day)
    assert set(found.values()) <= {1}
    started = {one.key for one in said["started"]}
    late = {one.key for one in said["late"]}
    come = {g.key for g in plan.goers} - (set(said["no_shows"]) - started - late)
    assert {key for key, go_no in found if go_no == 1} == come
    again = {key for key, go_no in found if go_no == 2}
    assert set(said["second_goes"]) == again & set(said["second_goes"]) | set(day.no_second)
    assert not again & set(day.no_second)


@settings(max_examples=60, deadline=None)
@given(days())
def test_the_rest_keeps_to_what_is_known(given_day: tuple) -> None:
    plan, said = given_day
    day = replan(plan, **said)
    out_s = {slot.key: slot.out_s for slot in [*day.done, *day.slots] if slot.go_no == 1}
    from_s = {one.key: one.from_s for one in said["late"]}
    for slot in day.slots:
        assert slot.start_s >= said["now_s"] - 1e-5
        if slot.go_no == 1:
            assert slot.start_s >= from_s.get(slot.key, slot.start_s) - 1e-5
        else:
            assert slot.start_s >= out_s[slot.key] + plan.hour.rest_s - 1e-5
            assert slot.out_s <= plan.hour.until_s + 1e-5
    late_outs = {s.key for s in day.slots if s.go_no == 1 and s.out_s > plan.hour.until_s + 1e-5}
    assert set(day.over_time) == late_outs
    for before, after in zip(day.rows, day.rows[1:], strict=False):
        needed_s = plan.hour.change_over_s
        if after.briefing_from_s is not None and not plan.hour.briefs_on_deck:
            needed_s += plan.hour.briefing_s
        assert after.first_start_s >= before.last_out_s + needed_s - 1e-5


@settings(max_examples=40, deadline=None)
@given(days(), st.randoms(use_true_random=False))
def test_the_same_again_and_in_any_order_of_the_log(given_day: tuple, chance) -> None:
    plan, said = given_day
    shuffled = {**said, "started": chance.sample(said["started"], len(said["started"]))}
    assert replan(plan, **said) == replan(plan, **shuffled) == replan(plan, **said)


class Pool:
    """A day with people who do as they like, and a starter who follows the re-planned timetable
    but starts nobody before the lane is clear."""

    def __init__(self, plan: Timetable, seed: int) -> None:
        self.plan, self.chance = plan, random.Random(seed)
        keys = [goer.key for goer in plan.goers]
        self.there_s = {key: 0.0 for key in keys}
        for key in self.chance.sample(keys, len(keys) // 3):
            self.there_s[key] = self.chance.choice([float("inf"), self.chance.uniform(0, 3000)])
        self.now_s, self.clear_s = 0.0, 0.0
        self.started: list[Started] = []
        self.no_shows: set[object] = set()
        self.late: dict[object, float] = {}
        self.asked = self.chance.sample(keys, len(keys) // 4)

    def day(self) -> Day:
        late = [Late(key, from_s) for key, from_s in self.late.items()]
        return replan(
            self.plan,
            started=self.started,
            no_shows=self.no_shows,
            late=late,
            second_goes=self.asked,
            now_s=self.now_s,
        )

    def step(self) -> bool:
        """One swimmer goes, or one is found missing. False: nobody is left."""
        for key in [k for k in self.no_shows if self.there_s[k] <= self.now_s]:
            self.no_shows.remove(key)
            self.late[key] = self.there_s[key]
        slots = self.day().slots
        if not slots:
            coming_s = [self.there_s[key] for key in self.no_shows]
            coming_s = [there_s for there_s in coming_s if there_s < float("inf")]
            self.now_s = min(coming_s, default=self.now_s)
            return bool(coming_s)
        slot = next((s for s in slots if self.there_s[s.key] <= s.start_s), None)
        missing = [s for s in slots if self.there_s[s.key] > s.start_s]
        if missing and missing[0] is slots[0] and (slot is None or self.chance.random() < 0.5):
            self.no_shows.add(slots[0].key)  # else nobody says so, and the next one goes
            return True
        assert slot is not None
        self._go(slot.key, max(slot.start_s, self.clear_s) + self.chance.uniform(0, 15))
        return True

    def _go(self, key: object, at_s: float) -> None:
        goer = next(goer for goer in self.plan.goers if goer.key == key)
        self.started.append(Started(key, at_s))
        took_s = in_lane_s(self.plan.hour, goer) * self.chance.uniform(0.9, 1.15)
        self.clear_s, self.now_s = at_s + took_s, at_s + 5.0


@pytest.mark.parametrize("seed", range(12))
def test_a_day_followed_to_its_end(seed: int) -> None:
    paces = random.Random(seed)
    goers = [Goer(n, "ABCDE"[n // 5], paces.uniform(60, 110)) for n in range(25)]
    pool = Pool(plan_hour(replace(HOUR, pool_time_s=3600.0), goers), seed)
    steps = 0
    while pool.step():
        steps += 1
        assert steps < 200
    swum = Counter(one.key for one in pool.started)
    came = {key for key, there_s in pool.there_s.items() if there_s < float("inf")}
    assert set(swum) == came
    assert {key for key, times in swum.items() if times > 1} <= set(pool.asked)
    assert max(swum.values()) <= 2
    assert set(pool.day().no_second) == set(pool.asked) - {k for k, n in swum.items() if n == 2}


@pytest.mark.parametrize("where", ["groups", "last and second"])
def test_the_simulation_finds_a_wrong_gap_of_the_rest(
    where: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def half(hour: ClinicHour, goers: Sequence[Goer]) -> int:
        return round(max(in_lane_s(hour, goer) for goer in goers) / 2)

    def trouble() -> set[str]:
        late = [Late("C3", 900.0), Late("A3", 900.0)]
        started = log(A1=60, A2=130)
        day = replan(PLAN, started=started, late=late, second_goes=["B1", "B2"], now_s=300.0)
        return {one.what for one in run(PLAN, day).trouble}

    assert trouble() == set()
    monkeypatch.setattr(rest if where == "groups" else closing, "gap_s", half)
    assert "oncoming" in trouble() or "ahead" in trouble()


# --- what cannot be planned -----------------------------------------------------------------------


def test_keys_that_nobody_has_and_times_of_another_day_are_named() -> None:
    with pytest.raises(BadInput) as raised:
        replan(
            PLAN,
            started=log(X=1.0),
            no_shows=["Y"],
            late=[Late("Z", 0.0)],
            second_goes=["A1", "W"],
            now_s=0.0,
        )
    named = ["started X", "no_shows Y", "late Z", "second_goes W"]
    assert [where for where, _ in raised.value.errors] == named
    with pytest.raises(BadInput) as raised:
        replan(
            PLAN,
            started=log(A1=1e6),
            late=[Late("A2", float("nan"))],
            now_s=float("inf"),
        )
    named = ["now_s", "started A1.at_s", "late A2.from_s"]
    assert [where for where, _ in raised.value.errors] == named
