"""Any day at the pool, drawn or followed to its end: nobody is lost, repeated or met. The simulated
lane (rotation_simulation.py), which knows nothing of the planner, says whether anybody meets
anybody."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinics.compute.rotation import (
    ClinicHour,
    Day,
    Goer,
    Late,
    Started,
    Timetable,
    closing,
    in_lane_s,
    plan_hour,
    replan,
    rest,
)
from tests.clinics.replan_tools import HOUR, PLAN, log, run
from tests.clinics.rotation_draws import crowds, hours


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
