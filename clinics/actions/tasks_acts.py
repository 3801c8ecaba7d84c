"""Ticking, moving, adding and removing tasks of a clinic, and taking those of an earlier one."""

from __future__ import annotations

import datetime as dt
import uuid

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils import timezone

from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.actions.tasks import USUAL, roles_of, tasks_of
from clinics.compute.tables import tidy, unprintable
from clinics.compute.tasks_ahead import MOST_DAYS_AFTER, MOST_DAYS_BEFORE, Role, copied_from
from clinics.models import Clinic, ClinicTask
from portal.actions.audit import record
from portal.models import User

WORDS_MOST = 200
OWN_MOST = 100  # of one clinic; a list that nobody reads helps nobody


@transaction.atomic
def tick_task(*, clinic: Clinic, key: str, by: User) -> ClinicTask:
    """It is done. Said twice, the first time counts."""
    _require(clinic, by, _role_of(clinic, key))
    row, _new = ClinicTask.objects.select_for_update().get_or_create(clinic=_open(clinic), key=key)
    if row.done_at is None:
        row.done_at, row.done_by = timezone.now(), by
        row.save(update_fields=["done_at", "done_by"])
        _note("task.tick", clinic, key, by)
    return row


@transaction.atomic
def untick_task(*, clinic: Clinic, key: str, by: User) -> None:
    """It is not done after all."""
    _require(clinic, by, _role_of(clinic, key))
    row = ClinicTask.objects.select_for_update().filter(clinic=_open(clinic), key=key).first()
    if row is None or row.done_at is None:
        return
    row.done_at, row.done_by = None, None
    row.save(update_fields=["done_at", "done_by"])
    _forget_if_usual(row)
    _note("task.untick", clinic, key, by)


@transaction.atomic
def move_task(*, clinic: Clinic, key: str, day: dt.date, by: User) -> None:
    """To another day. It keeps its distance from the clinic's day when that is moved."""
    _require(clinic, by)
    _role_of(clinic, key)
    days_before = _days_before(clinic, day)
    row, _new = ClinicTask.objects.select_for_update().get_or_create(clinic=_open(clinic), key=key)
    usual = USUAL.get(key)
    back = usual is not None and usual.days_before == days_before
    row.days_before = None if back else days_before
    row.save(update_fields=["days_before"])
    _forget_if_usual(row)
    _note("task.move", clinic, key, by)


@transaction.atomic
def add_task(*, clinic: Clinic, words: str, day: dt.date, for_role: str, by: User) -> ClinicTask:
    """A task of the club's own."""
    _require(clinic, by)
    clinic = _open(clinic)
    words = tidy(words)
    if not words or len(words) > WORDS_MOST or unprintable(words):
        told = _("Say in at most %(limit)s characters what is to be done.", limit=WORDS_MOST)
        raise BadInput([("", told)])
    if for_role not in list(Role):
        raise BadInput([("", _("Say who is to do it."))])
    if clinic.tasks.exclude(key__in=USUAL).count() >= OWN_MOST:
        raise BadInput([("", _("There are %(most)s tasks of your own already.", most=OWN_MOST))])
    row = ClinicTask.objects.create(
        clinic=clinic,
        key=f"own-{uuid.uuid4().hex[:12]}",
        words=words,
        days_before=_days_before(clinic, day),
        for_role=for_role,
    )
    _note("task.add", clinic, row.key, by)
    return row


@transaction.atomic
def remove_task(*, clinic: Clinic, key: str, by: User) -> None:
    """One of the club's own; a usual one stays, since what needs doing is not forgotten so."""
    _require(clinic, by)
    clinic = _open(clinic)
    if key in USUAL:
        raise BadInput(
            [("", _("This task is one of the usual ones. Tick it if it needs nothing."))]
        )
    if clinic.tasks.filter(key=key).delete()[0]:
        _note("task.remove", clinic, key, by)


@transaction.atomic
def copy_tasks(*, to: Clinic, from_clinic: Clinic) -> int:
    """What was moved and added there, as far before the day as there; never ticks. How many.

    The caller fetched both through the fence and notes what was copied.
    """
    copied = copied_from(from_clinic.date, [line.due for line in tasks_of(from_clinic)])
    rows = [
        ClinicTask(
            clinic=to,
            key=task.key,
            words="" if task.key in USUAL else task.words,
            days_before=task.days_before,
            for_role="" if task.key in USUAL else task.for_role.value,
        )
        for task in copied
        if task.key not in USUAL or task.days_before != USUAL[task.key].days_before
    ]
    return len(ClinicTask.objects.bulk_create(rows, ignore_conflicts=True))


def _open(clinic: Clinic) -> Clinic:
    """The clinic, locked. Raises BadInput if it is closed."""
    row = Clinic.objects.select_for_update().get(pk=clinic.pk)
    if row.state == Clinic.State.CLOSED:
        raise BadInput([("", _("The clinic is closed; its tasks stay as they are."))])
    return row


def _role_of(clinic: Clinic, key: str) -> Role:
    """Whose task it is. Raises BadInput for a key that is no task of this clinic."""
    if key in USUAL:
        return USUAL[key].for_role
    row = clinic.tasks.filter(key=key).first()
    if row is None:
        raise BadInput([("", _("There is no such task any more."))])
    return Role(row.for_role)


def _require(clinic: Clinic, by: User, role: Role | None = None) -> None:
    """An admin of the club, or somebody whose task it is."""
    roles = roles_of(clinic, by)
    if Role.ADMIN not in roles and role not in roles:
        raise PermissionDenied("not this person's task")


def _days_before(clinic: Clinic, day: dt.date) -> int:
    days = (clinic.date - day).days
    if not -MOST_DAYS_AFTER <= days <= MOST_DAYS_BEFORE:
        told = _(
            "A task lies between %(first)s and %(last)s: eight weeks before the clinic and a "
            "month after it.",
            first=clinic.date - dt.timedelta(days=MOST_DAYS_BEFORE),
            last=clinic.date + dt.timedelta(days=MOST_DAYS_AFTER),
        )
        raise BadInput([("", told)])
    return days


def _forget_if_usual(row: ClinicTask) -> None:
    """What is as usual and open needs no row."""
    if row.key in USUAL and row.days_before is None and row.done_at is None:
        row.delete()


def _note(action: str, clinic: Clinic, key: str, by: User) -> None:
    record(action=action, by=by, subject=clinic, club=clinic.club, detail={"task": key})
