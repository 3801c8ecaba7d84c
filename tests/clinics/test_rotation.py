"""A pool hour as planned: who goes when, whether it fits, what to change.

Outside evidence: facts of the trade (common practice, no published source): a group of five or
six takes about eight minutes with its briefing; 40 swimmers in such groups fit a pool hour, 60
do not. And a simulation that knows nothing of the planner (rotation_simulation.py).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinics.compute.errors import BadInput
from clinics.compute.rotation import (
    Change,
    ClinicHour,
    Goer,
    Move,
    Part,
    StationAt,
    Timetable,
    capacity,
    expected_passes,
    fastest_groups_first,
    gap_s,
    in_lane_s,
    plan_hour,
    running_order,
    timetable,
    ways_to_fit,
)
from tests.clinics.rotation_draws import crowds, hours
from tests.clinics.rotation_simulation import Call, Seen, Talk, Trouble, simulate

SIZES_OF_40 = (6, 6, 6, 6, 6, 5, 5)
SIZES_OF_60 = (6,) * 10
POOL_HOUR = ClinicHour(course_m=50.0, distance_m=75.0, pool_time_s=3600.0)


def spread(sizes: Sequence[int], fastest_s: float, slowest_s: float) -> list[Goer]:
    """Paces at even steps, in groups of these sizes, the fastest first."""
    count = sum(sizes)
    groups = [group for group, size in enumerate(sizes) for _ in range(size)]
    step_s = (slowest_s - fastest_s) / (count - 1)
    return [Goer(n + 1, group, fastest_s + n * step_s) for n, group in enumerate(groups)]


def run(plan: Timetable, watched_m: Sequence[float] = ()) -> Seen:
    """The plan's starts, in the simulated lane."""
    pace = {goer.key: goer.pace_s_per_100m for goer in plan.goers}
    party = {row.group: n for n, row in enumerate(plan.rows)}
    talks = [
        Talk(row.briefing_from_s, row.briefing_to_s, n, not plan.hour.briefs_on_deck)
        for n, row in enumerate(plan.rows)
        if row.briefing_from_s is not None and row.briefing_to_s is not None
    ]
    return simulate(
        course_m=plan.hour.course_m,
        distance_m=plan.hour.distance_m,
        climbing_out_s=plan.hour.climbing_out_s,
        calls=[Call(s.start_s, s.key, pace[s.key], party[s.group]) for s in plan.slots],
        talks=talks,
        change_over_s=plan.hour.change_over_s,
        watched_m=watched_m,
    )


# --- facts of the trade: common practice, no source -----------------------------------------------


USUAL = [(75.0, 60.0, 100.0), (60.0, 80.0, 120.0), (50.0, 90.0, 150.0)]
"""Distance of a go and the paces of a club's adults over it, fastest and slowest, s per 100 m."""


@pytest.mark.parametrize(("distance_m", "fastest_s", "slowest_s"), USUAL)
def test_forty_fit_a_pool_hour_in_groups_of_about_eight_minutes(
    distance_m: float, fastest_s: float, slowest_s: float
) -> None:
    hour = replace(POOL_HOUR, distance_m=distance_m)
    plan = plan_hour(hour, spread(SIZES_OF_40, fastest_s, slowest_s))
    took_min = [(row.last_out_s - (row.briefing_from_s or 0)) / 60 for row in plan.rows]
    assert sum(took_min) / len(took_min) == pytest.approx(8.0, abs=0.5)
    assert all(6.5 <= each <= 9.0 for each in took_min)
    assert plan.fits and plan.spare_s < 300


@pytest.mark.parametrize("on_deck", [False, True])
@pytest.mark.parametrize(("distance_m", "fastest_s", "slowest_s"), USUAL)
def test_sixty_do_not(distance_m: float, fastest_s: float, slowest_s: float, on_deck: bool) -> None:
    hour = replace(POOL_HOUR, distance_m=distance_m, briefs_on_deck=on_deck)
    said = capacity(plan_hour(hour, spread(SIZES_OF_60, fastest_s, slowest_s)))
    assert not said.fits and said.spare_min < -10
    assert 40 <= said.that_fit < 60


def test_slow_adults_at_the_longest_distance_do_not_fit_and_are_told_a_shorter_one() -> None:
    """75 m is for race pace: where the group's slowest needs 150 s per 100 m, it is 50 m."""
    plan = plan_hour(POOL_HOUR, spread(SIZES_OF_40, 90.0, 150.0))
    assert capacity(plan).spare_min == -19
    (way,) = [one for one in ways_to_fit(plan) if one.change is Change.SHORTER_DISTANCE]
    assert (way.to, way.fits) == (50.0, True)


def test_the_hour_by_hand() -> None:
    """Alike at 80 s per 100 m: 60 s for 75 m, 10 s to climb out. 40 goes of 70 s, seven
    briefings of 60 s, six changes of 30 s: 2800 + 420 + 180 = 3400 s. Sixty: 4200 + 600 + 270."""
    plan = plan_hour(POOL_HOUR, spread(SIZES_OF_40, 80.0, 80.0))
    assert plan.ends_s == 3400.0
    said = capacity(plan)
    assert (said.swimmers, said.fits, said.spare_min, said.that_fit) == (40, True, 3, 40)
    assert said.more == 2  # 200 s to spare, 70 s each
    rows = plan.rows[:2]
    assert [(r.briefing_from_s, r.first_start_s, r.last_out_s) for r in rows] == [
        (0.0, 60, 480.0),
        (510.0, 570, 990.0),
    ]
    too_many = capacity(plan_hour(POOL_HOUR, spread(SIZES_OF_60, 80.0, 80.0)))
    assert too_many.spare_s == 3600.0 - 5070.0
    assert too_many.spare_min == -25  # rather more than too little
    assert too_many.more == 0
    # 42 in seven groups: 2940 + 420 + 180 = 3540 s; one more needs 160 s.
    assert too_many.that_fit == 42


def test_how_many_more_go_at_the_end_of_the_last_group() -> None:
    """Out at 60 + 55 + 90 + 100 = 305; 295 s to spare are two gaps of 100 s."""
    goers = [Goer(1, "A", 60.0), Goer(2, "B", 120.0)]
    said = capacity(plan_hour(replace(POOL_HOUR, pool_time_s=600.0), goers))
    assert (said.spare_s, said.more) == (295.0, 2)


def test_four_minutes_spare() -> None:
    """The sentence that an admin reads: 40 in 60 minutes, 4 spare."""
    hour = replace(POOL_HOUR, change_over_s=20.0)
    assert capacity(plan_hour(hour, spread(SIZES_OF_40, 80.0, 80.0))).spare_min == 4


def test_briefing_on_deck_costs_no_lane_time_but_the_first() -> None:
    hour = replace(POOL_HOUR, briefs_on_deck=True)
    plan = plan_hour(hour, spread(SIZES_OF_40, 80.0, 80.0))
    assert plan.ends_s == 60 + 2800 + 6 * 30
    second = plan.rows[1]
    assert (second.briefing_from_s, second.briefing_to_s) == (420.0, 480.0)
    assert second.first_start_s == 510
    assert run(plan).trouble == []


def test_a_long_briefing_on_deck_holds_up_a_small_group() -> None:
    """One person briefs: not before the group before has begun."""
    hour = replace(POOL_HOUR, briefs_on_deck=True, briefing_s=300.0)
    plan = plan_hour(hour, spread((1, 1), 80.0, 80.0))
    assert [slot.start_s for slot in plan.slots] == [300, 300 + 300 + 30]


# --- the gap --------------------------------------------------------------------------------------


def test_the_gap_is_the_slowest_time_and_climbing_out() -> None:
    goers = [Goer("a", 1, 60.0), Goer("b", 1, 100.0), Goer("c", 1, 80.0)]
    plan = plan_hour(POOL_HOUR, goers)
    assert gap_s(POOL_HOUR, goers) == 85
    assert [slot.start_s for slot in plan.slots] == [60, 145, 230]  # in the order given
    assert plan.ends_s == 230 + 60 + 10  # whoever goes last is out by their own time


def test_a_gap_is_a_whole_second_and_never_shorter() -> None:
    assert gap_s(POOL_HOUR, [Goer(1, 1, 78.0)]) == 69  # 58.5 + 10
    assert gap_s(replace(POOL_HOUR, climbing_out_s=0.2), [Goer(1, 1, 78.4)]) == 59  # 58.8 + 0.2


@pytest.mark.parametrize("wrong", ["constant", "mean", "not out", "a second less"])
def test_the_simulation_finds_a_wrong_gap(wrong: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """What keeps the other tests honest: a gap that is no good is seen in the lane."""

    def bad_gap_s(hour: ClinicHour, goers: Sequence[Goer]) -> int:
        times = [in_lane_s(hour, goer) for goer in goers]
        return {
            "constant": 45,
            "mean": math.ceil(sum(times) / len(times)),
            "not out": math.ceil(max(times) - hour.climbing_out_s),
            "a second less": math.ceil(max(times)) - 1,
        }[wrong]

    goers = [Goer("slow", 1, 100.0), Goer("mid", 1, 80.0), Goer("fast", 1, 60.0)]
    assert run(plan_hour(POOL_HOUR, goers)).trouble == []
    monkeypatch.setattr(timetable, "gap_s", bad_gap_s)
    found = run(plan_hour(POOL_HOUR, goers)).trouble
    expected = {"constant": "ahead", "mean": "oncoming"}.get(wrong, "climbing-out")
    assert (found[0].what, found[0].key, found[0].other) == (expected, "mid", "slow")


def test_the_simulation_meets_who_comes_back() -> None:
    """By hand: 75 m in a 25 m pool at 1 m/s; after 40 s 10 m from the start wall, coming back."""
    calls = [Call(0.0, "a", 100.0), Call(40.0, "b", 100.0)]
    seen = simulate(course_m=25, distance_m=75, climbing_out_s=10, calls=calls)
    (met,) = seen.trouble
    assert met == Trouble("oncoming", 40.0, "b", "a", met.where_m)
    assert met.where_m == pytest.approx(10.0)
    assert seen.spans[0][2] == pytest.approx(85.0)


@pytest.mark.parametrize(("at_s", "what"), [(80.0, ["twice"]), (87.0, ["hurried"]), (90.0, [])])
def test_the_simulation_sees_one_swimmer_twice_and_no_change_over(
    at_s: float, what: list[str]
) -> None:
    """Out at 85, and 5 s for the change."""
    calls = [Call(0.0, "a", 100.0, 0), Call(at_s, "a", 100.0, 1)]
    seen = simulate(course_m=25, distance_m=75, climbing_out_s=10, calls=calls, change_over_s=5.0)
    assert [one.what for one in seen.trouble] == what


# --- any hour -------------------------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(hours, crowds())
def test_nobody_is_left_out_nor_in_two_places_nor_meets_anybody(
    hour: ClinicHour, goers: list[Goer]
) -> None:
    plan = plan_hour(hour, goers)
    seen = run(plan)
    assert seen.trouble == []
    assert sorted(key for key, _, _ in seen.spans) == [goer.key for goer in goers]
    outs = {key: out_s for key, _, out_s in seen.spans}
    assert all(slot.out_s == pytest.approx(outs[slot.key], abs=1e-4) for slot in plan.slots)
    last_out_s = max(outs.values())
    assert plan.ends_s == pytest.approx(last_out_s, abs=1e-4)
    assert plan.spare_s == pytest.approx(hour.pool_time_s - hour.reserve_s - last_out_s, abs=1e-4)


@settings(max_examples=60, deadline=None)
@given(hours, crowds())
def test_groups_stay_together_in_the_order_given(hour: ClinicHour, goers: list[Goer]) -> None:
    groups = list(dict.fromkeys(goer.group for goer in goers))[::-1]
    plan = plan_hour(hour, goers, groups)
    assert [slot.key for slot in plan.slots] == [
        goer.key for group in groups for goer in goers if goer.group == group
    ]
    assert [row.group for row in plan.rows] == groups
    for row in plan.rows:
        starts = [slot.start_s for slot in plan.slots if slot.group == row.group]
        apart = {b - a for a, b in zip(starts, starts[1:], strict=False)}
        assert apart <= {row.gap_s}
        assert all(float(start).is_integer() for start in starts)
    assert {slot.part for slot in plan.slots} == {Part.LANE_GROUP}


# --- order ----------------------------------------------------------------------------------------


def test_fastest_first_within_groups_that_stay_as_they_are() -> None:
    goers = [Goer(1, "B", 90.0), Goer(2, "A", 120.0), Goer(3, "B", 80.0), Goer(4, "A", 70.0)]
    assert [goer.key for goer in running_order(goers, ["A", "B"])] == [4, 2, 3, 1]
    assert [goer.key for goer in running_order(goers, ["A", "B"], chosen=[1])] == [4, 2, 1, 3]
    assert fastest_groups_first(goers) == ["B", "A"]


# --- ways -----------------------------------------------------------------------------------------


def ways_of(plan: Timetable) -> dict[Change, float]:
    return {way.change: way.to for way in ways_to_fit(plan)}


def test_an_hour_that_fits_needs_no_change() -> None:
    assert ways_of(plan_hour(POOL_HOUR, spread(SIZES_OF_40, 80.0, 80.0))) == {}


def test_ways_by_hand() -> None:
    """Sixty alike: 5070 s. A briefing on deck leaves one of ten: 540 s. Five seconds less of
    ten briefings: 50 s each. 30 m less of 60 goes at 0.8 s/m: 1440 s; 1470 are missing, so 40 m.
    Alike swimmers gain nothing by moving; larger groups are not usual, so no regrouping."""
    plan = plan_hour(POOL_HOUR, spread(SIZES_OF_60, 80.0, 80.0))
    ways = {way.change: way for way in ways_to_fit(plan)}
    assert {change: (way.to, way.gains_s) for change, way in ways.items()} == {
        Change.BRIEF_ON_DECK: (1, 540.0),
        Change.SHORTER_BRIEFING: (30, 300.0),
        Change.SHORTER_DISTANCE: (40, 60 * 28.0),
        Change.FEWER_SWIMMERS: (42, 5070.0 - 3540.0),
        Change.MORE_POOL_TIME: (3600.0 + 25 * 60, 1500.0),
    }
    assert [change for change, way in ways.items() if way.fits] == [
        Change.SHORTER_DISTANCE,
        Change.FEWER_SWIMMERS,
        Change.MORE_POOL_TIME,
    ]


def test_the_slowest_of_a_fast_group_goes_with_a_slower_one() -> None:
    """By hand: with 75 m, A's gap falls from 85 s to 55 s for four of them, and the fifth goes
    at B's gap of 85 s: A 5 * 85 = 425 s before, 4 * 55 + 85 = 305 s after."""
    fast = [Goer(n, "A", 60.0) for n in range(4)]
    goers = [*fast, Goer("slow", "A", 100.0), Goer(8, "B", 90.0), Goer(9, "B", 100.0)]
    needed_s = 60 + 5 * 85 + 90 + 2 * 85
    plan = plan_hour(replace(POOL_HOUR, pool_time_s=needed_s - 100.0), goers)
    assert plan.spare_s == -100
    way = next(one for one in ways_to_fit(plan) if one.change is Change.MOVE_SLOWEST)
    (move,) = way.moves
    assert (move.key, move.from_group, move.to_group) == ("slow", "A", "B")
    assert (way.gains_s, way.spare_s, move.gains_s, way.fits) == (120.0, 20.0, 120.0, True)


def test_nobody_is_sent_to_swim_with_a_faster_group() -> None:
    """Although B would win more by it than A would lose."""
    goers = [Goer("fast", "A", 60.0), *(Goer(n, "B", 80.0) for n in range(4))]
    goers.append(Goer("slow", "B", 150.0))
    plan = plan_hour(replace(POOL_HOUR, pool_time_s=300.0), goers)
    assert Change.MOVE_SLOWEST not in ways_of(plan)


def test_regrouping_by_pace() -> None:
    """Three fast and three slow, mixed in two groups of three: sorted, three go at the short
    gap, 3 * 45 s sooner; all in one group would save only the 90 s between two."""
    goers = [Goer(n, "AB"[n % 2], 60.0 if n < 3 else 120.0) for n in range(6)]
    plan = plan_hour(replace(POOL_HOUR, pool_time_s=620.0), goers)
    assert plan.ends_s == 60 + 3 * 100 + 90 + 3 * 100
    way = next(one for one in ways_to_fit(plan) if one.change is Change.REGROUP)
    assert (way.to, way.gains_s, way.fits) == (2, 135.0, True)
    assert [set(keys) for keys in way.groups] == [{0, 1, 2}, {3, 4, 5}]


@settings(max_examples=40, deadline=None)
@given(hours, crowds())
def test_every_way_keeps_its_word(hour: ClinicHour, goers: list[Goer]) -> None:
    """Each is done to the inputs here, and planned."""
    plan = plan_hour(replace(hour, pool_time_s=600.0), goers)
    for way in ways_to_fit(plan):
        after = done(plan, way.change, way.to, way.moves, way.groups)
        assert after.spare_s == pytest.approx(way.spare_s)
        assert way.gains_s == pytest.approx(way.spare_s - plan.spare_s)
        assert way.gains_s > 0
        assert all(move.gains_s > 0 for move in way.moves)
        assert run(after).trouble == []


def done(plan, change, to, moves, groups) -> Timetable:  # type: ignore[no-untyped-def]
    hour, goers = plan.hour, list(plan.goers)
    fields = {
        Change.BRIEF_ON_DECK: {"briefs_on_deck": True},
        Change.SHORTER_BRIEFING: {"briefing_s": to},
        Change.SHORTER_DISTANCE: {"distance_m": to},
        Change.MORE_POOL_TIME: {"pool_time_s": to},
    }
    if change in fields:
        return plan_hour(replace(hour, **fields[change]), goers, plan.groups)
    if change is Change.FEWER_SWIMMERS:
        return plan_hour(hour, goers[: int(to)])
    if change is Change.REGROUP:
        of = {key: n for n, keys in enumerate(groups) for key in keys}
        assert sorted(of) == sorted(goer.key for goer in goers)
        regrouped = [replace(goer, group=of[goer.key]) for goer in goers]
        return plan_hour(hour, running_order(regrouped, range(len(groups))))
    for move in moves:
        goers = moved(goers, move)
    return plan_hour(hour, goers, plan.groups)


def moved(goers: list[Goer], move: Move) -> list[Goer]:
    """Who was moved stands before the first slower one of the new group, as at the pool."""
    (one,) = [goer for goer in goers if (goer.key, goer.group) == (move.key, move.from_group)]
    order = [goer for goer in goers if goer is not one]
    theirs = [goer for goer in order if goer.group == move.to_group]
    slower = [goer for goer in theirs if goer.pace_s_per_100m > one.pace_s_per_100m]
    place = order.index(slower[0]) if slower else order.index(theirs[-1]) + 1
    return [*order[:place], replace(one, group=move.to_group), *order[place:]]


@settings(max_examples=40, deadline=None)
@given(hours, crowds())
def test_as_many_fit_as_are_said_to(hour: ClinicHour, goers: list[Goer]) -> None:
    plan = plan_hour(replace(hour, pool_time_s=700.0), goers)
    count = capacity(plan).that_fit
    if count:
        assert plan_hour(plan.hour, plan.goers[:count]).fits
    if count < len(goers):
        assert not plan_hour(plan.hour, plan.goers[: count + 1]).fits


# --- stations -------------------------------------------------------------------------------------


def test_75_m_in_a_25_m_pool_passes_by_hand() -> None:
    """1 m/s from second 60: mid-pool three times, the far wall once, out at 135."""
    hour = ClinicHour(25.0, 75.0, 3600.0)
    plan = plan_hour(hour, [Goer(7, "A", 100.0)])
    stations = [StationAt("deep", "underwater", 12.5), StationAt("wall", "turn-window", 25.0)]
    due = expected_passes(hour, plan.goers, plan.slots, stations)
    assert [(one.station, one.pass_no, one.at_s) for one in due] == [
        ("deep", 1, 72.5),
        ("wall", 1, 85.0),
        ("deep", 2, 97.5),
        ("deep", 3, 122.5),
    ]
    assert [(one.from_s, one.to_s) for one in due[:1]] == [(69.5, 75.5)]


@settings(max_examples=60, deadline=None)
@given(hours, crowds(most=5), st.floats(min_value=0.02, max_value=0.98))
def test_passes_are_when_the_simulated_swimmer_goes_by(
    hour: ClinicHour, goers: list[Goer], share: float
) -> None:
    """A course of any length, with a go of any length."""
    plan = plan_hour(hour, goers)
    x_m = share * hour.course_m
    due = expected_passes(hour, goers, plan.slots, [StationAt("deep", "underwater", x_m)])
    seen = sorted(run(plan, [x_m]).passed)
    assert [one.key for one in due] == [key for _, _, key in seen]
    assert [one.at_s for one in due] == pytest.approx([at_s for at_s, _, _ in seen], abs=1e-3)


# --- what cannot be planned -----------------------------------------------------------------------


def wrong_fields(hour: ClinicHour, goers: list[Goer], groups: list[str] | None = None) -> list[str]:
    with pytest.raises(BadInput) as raised:
        plan_hour(hour, goers, groups)
    assert all(sentence for _, sentence in raised.value.errors)
    return [where for where, _ in raised.value.errors]


def test_everything_that_is_wrong_is_named_at_once() -> None:
    hour = ClinicHour(math.nan, 75.0, -1.0, briefing_s=-5.0, climbing_out_s=-0.1)
    goers = [Goer(1, "A", 39.9), Goer(2, "A", 601.0), Goer(3, "X", math.inf), Goer(4, "A", 40.0)]
    assert wrong_fields(hour, goers, ["A", "B"]) == [
        "hour.course_m",
        "hour.pool_time_s",
        "hour.briefing_s",
        "hour.climbing_out_s",
        "goer 1.pace_s_per_100m",
        "goer 2.pace_s_per_100m",
        "goer 3.pace_s_per_100m",
        "group B",
        "goer 3.group X",
    ]


def test_nobody_and_somebody_twice() -> None:
    assert wrong_fields(POOL_HOUR, []) == ["goers"]
    assert wrong_fields(POOL_HOUR, [Goer(1, "A", 80.0)] * 2) == ["goers"]
    assert wrong_fields(POOL_HOUR, [Goer(1, "A", 80.0)], ["A", "A"]) == ["groups"]
    assert plan_hour(POOL_HOUR, [Goer(1, "A", 600.0), Goer(2, "A", 40.0)]).fits
