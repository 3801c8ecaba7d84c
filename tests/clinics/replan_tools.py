"""What the tests of the day planned anew share: a small hour, its plan, and the simulated lane."""

from __future__ import annotations

from clinics.compute.rotation import (
    ClinicHour,
    Day,
    Goer,
    Started,
    Timetable,
    plan_hour,
)
from tests.clinics.rotation_simulation import Call, Seen, Talk, simulate

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
