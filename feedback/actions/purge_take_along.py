"""Stills and films to take along go before the clips that are seen in them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from clinics.actions.purge_swims import delete_with_swims
from feedback.actions.take_along import JOB_KIND, KEEPING_RULE, fallen
from feedback.models import TakeAlong
from portal.actions.audit import record
from portal.actions.jobs import OPEN, cancel
from portal.actions.ledger import note_deleted
from portal.actions.purge import delete_files
from portal.models import Job, StoredFile
from portal.registry import Due, Gone, PurgeStep, purge_steps

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from clinics.models import Swim


def register() -> None:
    """Called once at start-up."""
    purge_steps.register(TAKE_ALONG_STEP)
    delete_with_swims("take-along", files_with)


def files_with(swims: QuerySet[Swim]) -> list[StoredFile]:
    rows = TakeAlong.objects.filter(swim__in=swims, stored__isnull=False)
    return [row.stored for row in rows.select_related("stored") if row.stored is not None]


def _due(at_most: int) -> list[Due]:
    rows = fallen().select_related("stored")[:at_most]
    return [_due_of(row) for row in rows]


def _due_of(row: TakeAlong) -> Due:
    file = row.stored
    there = file is not None and file.state == StoredFile.State.READY
    since = file.delete_by if file is not None and file.delete_by is not None else row.created_at
    size = file.size_bytes if file is not None and there else 0
    return Due(TakeAlong._meta.label, row.pk, since, int(there), size)


@transaction.atomic
def _delete(due: Due) -> Gone | None:
    TakeAlong.objects.select_for_update(of=("self",)).filter(pk=due.id).first()
    rows = fallen().select_related("stored", "swim__entry__clinic__club")
    row = rows.filter(pk=due.id).first()
    if row is None:
        return None
    for job in Job.objects.filter(kind=JOB_KIND, subject_id=row.pk, state__in=OPEN):
        cancel(job=job, by=None)
    files = delete_files([row.stored] if row.stored is not None else [])
    note_deleted(TakeAlong._meta.label, row.pk)
    detail = {"take_along": str(row.pk), "kind": row.kind, "size_bytes": files.size_bytes}
    club = row.swim.entry.clinic.club
    record(action="purge.take-along", by=None, subject=row.swim, club=club, detail=detail)
    row.delete()
    return Gone({TakeAlong._meta.label: 1}, files.files, files.size_bytes)


TAKE_ALONG_STEP = PurgeStep(
    name="take-along",
    label=_("Stills and films to take along"),
    order=100,
    due=_due,
    held=lambda: 0,
    delete=_delete,
    rules=frozenset({KEEPING_RULE}),
)
