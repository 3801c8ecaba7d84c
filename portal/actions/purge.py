"""Deleting what is due: which things those are, the packages say in their steps.

What is due is out of sight already. A thing goes as a whole, in one transaction: its row is
locked and looked at again, its files leave the disk, then its rows, with one audit record and a
line in the ledger for each. If the process dies in between, the rows are still there and still
due: the next purge finds fewer files and goes on. So nothing that can be seen lacks its file, and
no file stays behind without a row.
"""

from __future__ import annotations

import datetime as dt
import logging
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.db import transaction
from django.db.models import PROTECT, Exists, OuterRef, Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from portal.actions import audit, files, ledger
from portal.models import DueWarning, Hold, StoredFile
from portal.registry import Due, Gone, PurgeStep, purge_steps

log = logging.getLogger("portal.purge")

BATCH = 100
DAILY_AT_MOST = 500  # of each sort in one round, so that the sweep's other steps do not wait long
ROWS_KEPT = dt.timedelta(days=30)  # of files long gone, and of warnings that were given


class StillThere(Exception):
    """A file that should be gone is not, or its disk is not there to look."""


@dataclass
class StepReport:
    """What one step found and did."""

    step: PurgeStep
    held: int = 0
    due: list[Due] = field(default_factory=list)
    gone: list[Gone] = field(default_factory=list)
    failed: list[str] = field(default_factory=list)  # sentences

    @property
    def files(self) -> int:
        return sum(one.files for one in (self.gone or self.due))

    @property
    def size_bytes(self) -> int:
        return sum(one.size_bytes for one in (self.gone or self.due))

    def rows(self) -> dict[str, int]:
        told: dict[str, int] = {}
        for gone in self.gone:
            for sort, count in gone.rows.items():
                told[sort] = told.get(sort, 0) + count
        return told


def steps() -> list[PurgeStep]:
    return sorted(purge_steps.all(), key=lambda step: step.order)


def look() -> list[StepReport]:
    """What would go now. Changes nothing."""
    return [StepReport(step, held=step.held(), due=step.due(10**9)) for step in steps()]


def purge(*, at_most: int | None = None) -> list[StepReport]:
    """Delete what is due; of each sort `at_most`. May run twice, and twice at once. What cannot
    be deleted stands in the report and stops nothing else."""
    return [_run(step, at_most) for step in steps()]


def _run(step: PurgeStep, at_most: int | None) -> StepReport:
    report = StepReport(step, held=step.held())
    seen: set[uuid.UUID] = set()
    while at_most is None or len(seen) < at_most:
        batch = [due for due in step.due(BATCH + len(seen)) if due.id not in seen]
        if not batch:
            break
        for due in batch:
            seen.add(due.id)
            _delete(step, due, report)
    return report


def _delete(step: PurgeStep, due: Due, report: StepReport) -> None:
    try:
        gone = step.delete(due)
    except Exception as problem:
        log.exception("%s: %s %s could not be deleted", step.name, due.kind, due.id)
        report.failed.append(f"{due.kind} {due.id}: {type(problem).__name__}: {problem}"[:300])
        return
    if gone is not None:
        report.due.append(due)
        report.gone.append(gone)


def sweep() -> int:
    """A step of the sweep: what went. Raises when something could not be deleted, so that the
    health page says so."""
    reports = purge(at_most=DAILY_AT_MOST)
    failed = [sentence for report in reports for sentence in report.failed]
    if failed:
        raise StillThere(f"{len(failed)} could not be deleted; the first: {failed[0]}")
    return sum(len(report.gone) for report in reports)


# --- files ------------------------------------------------------------------------------------


def delete_files(stored: Iterable[StoredFile]) -> Gone:
    """Take these files off the disk, look that each is gone, and mark their rows. For use within
    the transaction that deletes what they belong to; the audit record is the caller's."""
    there = [file for file in stored if file.state == StoredFile.State.READY]
    for file in there:
        _delete_from_disk(file)
    rows = StoredFile.objects.filter(pk__in=[file.pk for file in there])
    rows.update(state=StoredFile.State.DELETED, deleted_at=timezone.now())
    for file in there:
        ledger.note_deleted(StoredFile._meta.label, file.pk, file.sha256)
        file.state = StoredFile.State.DELETED
    return Gone(files=len(there), size_bytes=sum(file.size_bytes for file in there))


def _delete_from_disk(file: StoredFile) -> None:
    """An unmounted disk must not look like a deleted file: where nothing is, its marker is."""
    path = file.local_path()
    if not path.exists() and not (files.area_root(file.area) / files.MARKER).exists():
        raise StillThere(f"the disk of area “{file.area}” is not there, so nothing can be deleted")
    path.unlink(missing_ok=True)
    if path.parent.is_dir():
        files.flush(path.parent)
    if path.exists():
        raise StillThere(f"file {file.pk} is still on the disk after it was deleted")


def _due_files() -> QuerySet[StoredFile]:
    """Due, and of no keeping rule that a package's own step looks after."""
    others = [rule for step in purge_steps.all() for rule in step.rules]
    due = StoredFile.objects.filter(
        state=StoredFile.State.READY, delete_by__isnull=False, delete_by__lte=timezone.now()
    )
    return due.exclude(keeping_rule__in=others)


def _held() -> Exists:
    holds = Hold.objects.filter(ended_at__isnull=True, subject_kind=StoredFile._meta.label)
    return Exists(holds.filter(subject_id=OuterRef("pk")))


def _files_due(at_most: int) -> list[Due]:
    rows = _due_files().exclude(_held()).order_by("delete_by", "pk")[:at_most]
    return [due_of(file) for file in rows]


def due_of(file: StoredFile) -> Due:
    assert file.delete_by is not None  # only asked of what is due
    return Due(StoredFile._meta.label, file.pk, file.delete_by, 1, file.size_bytes)


@transaction.atomic
def _delete_file(due: Due) -> Gone | None:
    rows = _due_files().exclude(_held()).select_for_update(of=("self",))
    file = rows.select_related("club").filter(pk=due.id).first()
    if file is None:
        return None
    gone = delete_files([file])
    detail = {"kind": file.kind, "rule": file.keeping_rule, "size_bytes": file.size_bytes}
    audit.record(action="purge.file", by=None, subject=file, club=file.club, detail=detail)
    return gone


FILES = PurgeStep(
    name="files",
    label=_("Other files: exports and the like"),
    order=900,
    due=_files_due,
    held=lambda: _due_files().filter(_held()).count(),
    delete=_delete_file,
)


# --- rows of what is gone -----------------------------------------------------------------------


def forget_rows() -> int:
    """A step of the sweep: rows of files that went a month ago and that nothing needs any more,
    and of warnings about what went then."""
    before = timezone.now() - ROWS_KEPT
    gone = StoredFile.objects.filter(state=StoredFile.State.DELETED, deleted_at__lt=before)
    forgotten = list(gone.exclude(_needed()).values_list("pk", flat=True)[:BATCH])
    warnings = DueWarning.objects.filter(delete_by__lt=before)
    count, _sorts = warnings.delete()
    return count + StoredFile.objects.filter(pk__in=forgotten).delete()[0]


def _needed() -> Q:
    """Another row stands on this one and may not lose it."""
    needed = Q(pk__in=[])
    relations: Sequence[Any] = StoredFile._meta.get_fields(include_hidden=True)
    for relation in relations:
        if getattr(relation, "on_delete", None) is PROTECT and relation.auto_created:
            rows = relation.related_model._base_manager
            needed |= Q(Exists(rows.filter(**{relation.field.name: OuterRef("pk")})))
    return needed
