"""A try-out's footage and names go by themselves, and with a swimmer who is erased; and what the
site must know of try-outs."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from clinics.actions import try_out_judge
from clinics.actions.try_out import JUDGE, RULE, empty
from clinics.models import TryOut, TryOutFile
from portal import audit_words
from portal.actions.audit import record
from portal.models import StoredFile
from portal.registry import (
    Due,
    Found,
    Gone,
    JobKind,
    KeepingRule,
    Person,
    PersonStep,
    PurgeStep,
    erasure_steps,
    job_kinds,
    keeping_rules,
    purge_steps,
)

if TYPE_CHECKING:
    from portal.models import Job, User


def delete_by(file: StoredFile) -> dt.datetime | None:
    """Of a file or still; not known before its row is written."""
    of_file = Q(files__stored=file) | Q(files__stills__stored=file)
    row = TryOut.objects.filter(of_file).first()
    return row.delete_by if row is not None else None


# --- when its time is over ----------------------------------------------------------------------


def _due(at_most: int) -> list[Due]:
    found = []
    for row in TryOut.objects.over().exclude(_held()).order_by("delete_by", "pk")[:at_most]:
        sizes = [file.size_bytes for file in _files(row)]
        since = min(row.delete_by, timezone.now())
        found.append(Due(TryOut._meta.label, row.pk, since, len(sizes), sum(sizes)))
    return found


def _held() -> Q:
    return Q(pk__in=TryOut.objects.held().values("pk"))


def _files(row: TryOut) -> QuerySet[StoredFile]:
    of_files = Q(pk__in=row.files.values("stored_id"))
    of_stills = Q(pk__in=row.files.values("stills__stored_id"))
    return StoredFile.objects.filter(of_files | of_stills, state=StoredFile.State.READY)


@transaction.atomic
def _delete(due: Due) -> Gone | None:
    TryOut.objects.select_for_update(of=("self",)).filter(pk=due.id).first()
    still_due = TryOut.objects.over().exclude(_held()).filter(pk=due.id)
    row = still_due.select_related("clinic__club").first()
    if row is None:
        return None
    gone = empty(row)
    record(
        action="purge.try-out",
        by=None,
        subject=row.clinic,
        club=row.clinic.club,
        detail={"files": gone.files, "size_bytes": gone.size_bytes},
    )
    return gone


STEP = PurgeStep(
    name="try-outs",
    label=_("Footage and names of try-outs: twelve hours after they began"),
    order=350,
    due=_due,
    held=lambda: TryOut.objects.over().filter(_held()).count(),
    delete=_delete,
    rules=frozenset({RULE}),
)


# --- with a person ------------------------------------------------------------------------------


def _of_person(person: Person) -> QuerySet[TryOut]:
    """By the club's list, or by a name that was written down."""
    theirs = Q(first_swimmer=person.id) | Q(second_swimmer=person.id)
    if person.name:
        named = Q(first_name__iexact=person.name) | Q(second_name__iexact=person.name)
        theirs |= named & Q(clinic__club=person.club)
    return TryOut.objects.filter(theirs, gone_at__isnull=True)


def find_try_outs(person: Person) -> Found:
    rows = list(_of_person(person))
    there = [file for row in rows for file in _files(row)]
    return Found({"try-outs": len(rows)}, files=tuple(there))


@transaction.atomic
def erase_try_outs(person: Person) -> None:
    for row in _of_person(person).select_for_update(of=("self",)):
        empty(row)


ERASE = PersonStep(
    name="try-outs",
    order=15,
    find=find_try_outs,
    run=erase_try_outs,
    labels={"try-outs": _("a try-out of the cameras that you swam in: all of its footage")},
)


# --- the registries -----------------------------------------------------------------------------


def _jobs(jobs: QuerySet[Job], user: User) -> QuerySet[Job]:
    return jobs.filter(subject_id__in=TryOutFile.objects.visible_to(user).values("pk"))


def register() -> None:
    """Called once at start-up."""
    keeping_rules.register(
        KeepingRule(
            name=RULE, label=_("Try-outs: twelve hours after they began"), delete_by=delete_by
        )
    )
    purge_steps.register(STEP)
    erasure_steps.register(ERASE)
    job_kinds.register(
        JobKind(
            name=JUDGE,
            queue="render",
            label=_("Judging a file of the try-out"),
            run=try_out_judge.run_judge,
            visible_to=_jobs,
            wall_s=1200.0,
            on_failed=try_out_judge.judging_failed,
        )
    )
    audit_words.know(audit_words.WORK, {"try-out.": _("tried the cameras out")})
