"""The pool hour planned again on the day: who is late, missing, or has the lane."""

from __future__ import annotations

from dataclasses import replace

import pytest

from clinics.compute.errors import BadInput
from clinics.compute.rotation import (
    Goer,
    Late,
    Part,
    Started,
    plan_hour,
    replan,
    slip_s,
)
from tests.clinics.replan_tools import GOERS, HOUR, PLAN, log, starts

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
