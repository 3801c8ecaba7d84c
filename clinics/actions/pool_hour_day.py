"""Where a clinic stands on its day: the rest of the pool hour, planned again from the start log
and from what was wished for, each time it is asked for."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from clinics.actions.pool_hour import Planned, planned
from clinics.compute.rotation import Day, Late, Slot, Started, replan, slip_s
from clinics.compute.rotation.inputs import DAY_S
from clinics.models import Clinic, DayWish, Entry, StartLogEntry, Swim

Outcome = StartLogEntry.Outcome


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


def day_of(
    clinic: Clinic, now: dt.datetime, plan: Planned | None = None, *, look_back: bool = False
) -> DayOf | None:
    """The day as it stands at `now`, with `look_back` as it stood then; None as in `planned`.
    Three queries and those of `planned`.

    Whoever has a swim has started, and so has who was away and not filmed: swims are settled
    from all phones' lines (actions/settle_swims.py), so that a start that two phones logged counts
    once. Who was called back goes again. Who was passed over goes after their own group. Of
    “comes late” and “did not come”, what was said last holds.
    """
    plan = plan or planned(clinic)
    if plan is None:
        return None
    until = now if look_back else None
    lines = list(_lines(clinic, until))
    near = [one for one in lines if abs(plan.seconds(one.instant)) <= DAY_S]
    wishes = list(_wishes(clinic, until))
    no_shows, skipped = _said_last(near, Outcome.NO_SHOW), _said_last(near, Outcome.SKIPPED)
    late = _late(wishes, no_shows)
    absent = {number for number in no_shows if number not in late}
    day = replan(
        plan.timetable,
        started=_started(plan, near, _swims(clinic, until)),
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


def _lines(clinic: Clinic, until: dt.datetime | None) -> Iterable[StartLogEntry]:
    lines = clinic.start_log.filter(undone_at__isnull=True, entry__isnull=False)
    lines = lines if until is None else lines.filter(instant__lte=until)
    return lines.select_related("entry").order_by("instant")


def _swims(clinic: Clinic, until: dt.datetime | None) -> Iterable[tuple[int, dt.datetime]]:
    swims = Swim.objects.filter(entry__clinic=clinic)
    swims = swims if until is None else swims.filter(start_at__lte=until)
    return swims.order_by("start_at").values_list("entry__number", "start_at")


def _wishes(clinic: Clinic, until: dt.datetime | None) -> Iterable[DayWish]:
    wishes = DayWish.objects.filter(entry__clinic=clinic)
    wishes = wishes if until is None else wishes.filter(said_at__lte=until)
    return wishes.select_related("entry").order_by("said_at")


def _started(
    plan: Planned, lines: Sequence[StartLogEntry], swims: Iterable[tuple[int, dt.datetime]]
) -> list[Started]:
    """A line “away” counts by itself only where no swim is left of that swimmer: deleted later,
    as the club's rules or the swimmer said."""
    swum = list(swims)
    with_swim = {number for number, _at in swum}
    by_line = [
        (_number(line), line.instant)
        for line in lines
        if line.outcome == Outcome.NOT_FILMED
        or (line.outcome == Outcome.AWAY and _number(line) not in with_swim)
    ]
    at_s = ((number, plan.seconds(instant)) for number, instant in [*swum, *by_line])
    return [Started(number, after_s) for number, after_s in at_s if abs(after_s) <= DAY_S]


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
