"""Where a clinic stands on its day: the rest of the pool hour, planned again from the start log
and from what was wished for, each time it is asked for."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from clinics.actions.pool_hour import Planned, planned
from clinics.compute.rotation import Day, Late, Slot, Started, replan, slip_s
from clinics.compute.rotation.inputs import DAY_S
from clinics.models import Clinic, DayWish, Entry, StartLogEntry

Outcome = StartLogEntry.Outcome
SWAM = {Outcome.AWAY, Outcome.NOT_FILMED}


@dataclass(frozen=True)
class DayOf:
    """`day` in seconds from the begin of the pool time, as `planned.at` takes them. `slip_s` as
    in rotation. `other_day`: lines of the start log more than a day off, which count for nothing.
    """

    planned: Planned
    day: Day
    slip_s: float
    no_shows: frozenset[int]
    late: dict[int, dt.datetime]
    skipped: frozenset[int]
    other_day: int

    @property
    def in_lane(self) -> Slot | None:
        """Who is expected to be in the lane now; that it is clear is for the starter to see."""
        last = self.day.done[-1] if self.day.done else None
        return last if last and last.out_s > self.day.now_s else None

    @property
    def next_up(self) -> list[Entry]:
        """Who is to go, in order; with second goes, so that somebody may stand there twice."""
        return [self.planned.entries[int(str(slot.key))] for slot in self.day.slots]


def day_of(clinic: Clinic, now: dt.datetime, plan: Planned | None = None) -> DayOf | None:
    """The day as it stands at `now`; None as in `planned`. Two queries and those of `planned`.

    Away, filmed or not, counts as started; who was called back goes again. Who was passed over
    goes after their own group. Of “comes late” and “did not come”, what was said last holds.
    """
    plan = plan or planned(clinic)
    if plan is None:
        return None
    lines = list(_lines(clinic))
    near = [one for one in lines if abs(plan.seconds(one.instant)) <= DAY_S]
    wishes = list(_wishes(clinic))
    no_shows, skipped = _said_last(near, Outcome.NO_SHOW), _said_last(near, Outcome.SKIPPED)
    late = _late(wishes, no_shows)
    absent = {number for number in no_shows if number not in late}
    day = replan(
        plan.timetable,
        started=[
            Started(_number(one), plan.seconds(one.instant)) for one in near if one.outcome in SWAM
        ],
        no_shows=absent,
        late=[
            Late(number, _within_a_day(plan.seconds(from_at)))
            for number, from_at in (skipped | late).items()
            if number not in absent
        ],
        second_goes=[w.entry.number for w in wishes if w.kind == DayWish.Kind.SECOND_GO],
        now_s=_within_a_day(plan.seconds(now)),
    )
    gone = {slot.key for slot in day.done}
    return DayOf(
        planned=plan,
        day=day,
        slip_s=slip_s(plan.timetable, day),
        no_shows=frozenset(absent - gone),
        late={number: at for number, at in late.items() if number not in gone},
        skipped=frozenset(skipped.keys() - gone - absent),
        other_day=len(lines) - len(near),
    )


def _lines(clinic: Clinic) -> Iterable[StartLogEntry]:
    lines = clinic.start_log.filter(undone_at__isnull=True, entry__isnull=False)
    return lines.select_related("entry").order_by("instant")


def _wishes(clinic: Clinic) -> Iterable[DayWish]:
    wishes = DayWish.objects.filter(entry__clinic=clinic)
    return wishes.select_related("entry").order_by("said_at")


def _number(line: StartLogEntry) -> int:
    assert line.entry is not None  # asked for so
    return line.entry.number


def _said_last(lines: Iterable[StartLogEntry], outcome: str) -> dict[int, dt.datetime]:
    """Numbers whose last line says so, and when it does: who was passed over and then did not
    come is no longer waited for."""
    last = {_number(line): line for line in lines}  # in order of time
    return {number: line.instant for number, line in last.items() if line.outcome == outcome}


def _late(wishes: Iterable[DayWish], no_shows: dict[int, dt.datetime]) -> dict[int, dt.datetime]:
    """From when each is there who said so, unless they were called a no-show after that."""
    late = {}
    for wish in wishes:
        number = wish.entry.number
        if wish.kind != DayWish.Kind.LATE or wish.from_at is None:
            continue
        if number not in no_shows or no_shows[number] <= wish.said_at:
            late[number] = wish.from_at
    return late


def _within_a_day(seconds: float) -> float:
    return min(max(seconds, -DAY_S), DAY_S)
