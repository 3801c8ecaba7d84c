"""What is due in the weeks before a clinic and the days after it, who may tick it, and who did.

Which tasks there are and when is `clinics/compute/tasks_ahead`; a row (ClinicTask) is kept only of
what was moved, added or done. Changing them: tasks_acts.py.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from dataclasses import dataclass

from django.utils import timezone

from clinics.compute import tasks_ahead
from clinics.compute.tasks_ahead import Due, Needs, Role, State, Task
from clinics.models import Clinic, ClinicTask, Entry, VenueSheet
from portal.models import User

USUAL = {task.key: task for task in tasks_ahead.TASKS}
CLOSED = "closed"  # the task that says when the clinic is expected to be closed


@dataclass(frozen=True)
class TaskLine:
    """A task with its day. `row` is None while it is as usual and open."""

    due: Due
    row: ClinicTask | None = None

    @property
    def key(self) -> str:
        return self.due.task.key

    @property
    def is_own(self) -> bool:
        """Added by the club, and so it can be taken away."""
        return self.key not in USUAL

    @property
    def is_moved(self) -> bool:
        return not self.is_own and self.due.task.days_before != USUAL[self.key].days_before


@dataclass(frozen=True)
class Counts:
    """How many wait: whose day is over, and whose day is within a week."""

    overdue: int
    soon: int


def tasks_of(clinic: Clinic) -> list[TaskLine]:
    """Open ones by date, then the done ones by date. Four queries."""
    rows = {row.key: row for row in clinic.tasks.select_related("done_by")}
    due = _due(clinic, rows)
    return [TaskLine(one, rows.get(one.task.key)) for one in due]


def _due(clinic: Clinic, rows: dict[str, ClinicTask]) -> list[Due]:
    venue = VenueSheet.objects.filter(clinic=clinic).first()
    kinds = set(clinic.stations.values_list("kind", flat=True))
    return tasks_ahead.tasks_for(
        clinic.date,
        today=today_at(clinic),
        has_underwater="underwater" in kinds,
        uses_blocks=_uses_blocks(clinic, venue),
        minors_in_hall=venue is not None and venue.juniors_in_hall is True,
        copied=[_task(row) for row in rows.values() if row.days_before is not None],
        done=[key for key, row in rows.items() if row.done_at is not None],
    )


def today_at(clinic: Clinic) -> dt.date:
    """The day at the pool."""
    return timezone.now().astimezone(clinic.zone).date()


def _uses_blocks(clinic: Clinic, venue: VenueSheet | None) -> bool:
    """While nobody is entered: unless the pool has no blocks. It is asked rather too often."""
    starts = set(clinic.entries.order_by().values_list("start", flat=True).distinct())
    if starts:
        return starts != {Entry.Start.WATER.value}
    return venue is None or venue.has_blocks is not False


def _task(row: ClinicTask) -> Task:
    """A usual one where it was moved to, or the club's own."""
    days_before = row.days_before or 0
    usual = USUAL.get(row.key)
    if usual is not None:
        return Task(row.key, usual.words, days_before, usual.needs, usual.for_role)
    return Task(row.key, row.words, days_before, Needs.ALWAYS, Role(row.for_role))


def counts_of(clinic: Clinic) -> Counts:
    """For who looks after the clinic: what waits of all roles. Four queries."""
    states = Counter(line.due.state for line in tasks_of(clinic))
    return Counts(states[State.OVERDUE], states[State.SOON])


def roles_of(clinic: Clinic, user: User) -> frozenset[Role]:
    """Whose tasks the user may tick: an admin everybody's, crew and checkers their own. Three
    queries."""
    if Clinic.objects.run_by(user).filter(pk=clinic.pk).exists():
        return frozenset(Role)
    found = set()
    if Clinic.objects.worked_by(user).filter(pk=clinic.pk).exists():
        found.add(Role.CREW)
    if Clinic.objects.checked_by(user).filter(pk=clinic.pk).exists():
        found.add(Role.CHECKER)
    return frozenset(found)


def closing_day(clinic: Clinic) -> dt.date:
    """When the clinic is expected to be closed: the day of that task. One query."""
    row = clinic.tasks.filter(key=CLOSED).first()
    moved = row.days_before if row is not None else None
    days_before = USUAL[CLOSED].days_before if moved is None else moved
    return clinic.date - dt.timedelta(days=days_before)
