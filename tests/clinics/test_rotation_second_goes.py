"""Second goes, planned on the day: at the end, as they were asked for, rested, if they fit."""

from __future__ import annotations

from dataclasses import replace

from clinics.compute.rotation import (
    Goer,
    Late,
    Part,
    Started,
    plan_hour,
    replan,
)
from tests.clinics.replan_tools import GOERS, HOUR, PLAN, log, starts

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
