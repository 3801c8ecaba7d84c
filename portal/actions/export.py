"""Taking one's data along: a ZIP made by a job, fetched once.

What goes into it, the registered steps say; each puts in what the person may see of what is
theirs. Clips are only stored in it, since film does not get smaller. What may be fetched is
asked again when it is fetched: the fence of that instant counts, not that of the making.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import io
import json
import re
import unicodedata
import zipfile
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from django.db import transaction
from django.db.models import Q
from django.utils import timezone, translation

from portal.actions import audit, files
from portal.actions.job_runs import published_with_job
from portal.actions.jobs import enqueue
from portal.actions.requests import make_request, person_of
from portal.csv_out import BYTE_ORDER_MARK, csv_text
from portal.models import Job, PersonRequest, StoredFile, User
from portal.registry import Person, export_steps

JOB_KIND = "make-export"
KEEPING_RULE = "export"
PRIORITY = 20  # a person waits for it
KEPT = dt.timedelta(days=7)
AFTER_FETCHING = dt.timedelta(minutes=15)  # a slow line is still loading it until then
BATCH = 50
State = PersonRequest.State


@dataclass
class Pack:
    """The ZIP while it is filled. `clips` are the pictures in it, for the fence to be asked of
    once more when it is fetched."""

    archive: zipfile.ZipFile
    person: Person
    user: User
    pulse: Callable[..., None]
    clips: list[str] = field(default_factory=list)
    contents: list[dict[str, Any]] = field(default_factory=list)

    def text(self, name: str, text: str) -> None:
        self._put(name, io.BytesIO(text.encode()), zipfile.ZIP_DEFLATED)

    def data(self, name: str, value: Any) -> None:
        self.text(name, json.dumps(value, ensure_ascii=False, indent=1, default=str) + "\n")

    def table(self, name: str, header: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
        """As JSON and as CSV: the one for programs, the other for a spreadsheet."""
        listed = [list(row) for row in rows]
        self.data(f"{name}.json", [dict(zip(header, row, strict=True)) for row in listed])
        self.text(f"{name}.csv", BYTE_ORDER_MARK + csv_text(header, listed))

    def file(self, name: str, stored: StoredFile) -> None:
        with stored.local_path().open("rb") as source:
            self._put(name, source, zipfile.ZIP_STORED)

    def _put(self, name: str, source: Any, how: int) -> None:
        digest, size = hashlib.sha256(), 0
        info = zipfile.ZipInfo(name, date_time=timezone.now().timetuple()[:6])
        info.compress_type = how
        with self.archive.open(info, "w", force_zip64=True) as target:
            while piece := source.read(files.CHUNK_BYTES):
                digest.update(piece)
                size += len(piece)
                target.write(piece)
        self.contents.append({"name": name, "bytes": size, "sha256": digest.hexdigest()})
        self.pulse(0.5)


def file_name(*parts: object) -> str:
    """A plain name for a file: letters, figures and hyphens.

    >>> file_name("Été 2026", "../x", 3)
    'ete-2026-x-3'
    """
    told = unicodedata.normalize("NFKD", " ".join(str(part) for part in parts))
    plain = told.encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:80] or "unnamed"


# --- asking and making ---------------------------------------------------------------------------


@transaction.atomic
def ask_for_export(*, person: Person, by: User) -> PersonRequest:
    """The open request, made if there is none, and the job that fills it. One that waits to be
    fetched is not made a second time."""
    ready = PersonRequest.objects.made_by(by).filter(waits_to_be_fetched(), subject_id=person.id)
    if known := ready.first():
        return known
    row = make_request(
        kind=PersonRequest.Kind.TAKE_ALONG,
        club=person.club,
        user=person.user,
        by=by,
        subject_kind=person.kind,
        subject_id=person.id,
        state=State.RUNNING,
    )
    enqueue(kind=JOB_KIND, subject=row, asked_by=by, priority=PRIORITY)
    return row


def run_export(job: Job, pulse: Callable[..., None]) -> None:
    """The job of kind "make-export"."""
    rows = PersonRequest.objects.filter(pk__in=[job.subject_id], state=State.RUNNING)
    row = rows.select_related("club", "user").first()
    person = person_of(row.subject_kind, row.subject_id) if row is not None else None
    if row is None or row.stored_id or person is None or row.user is None:
        return
    with files.work_dir(f"export-{row.pk.hex}") as folder:
        path = folder / "export.zip"
        with translation.override(row.user.language):
            pack = _fill(path, person, row.user, pulse)
        with published_with_job():
            _publish(row, path, pack)


def _fill(path: Path, person: Person, user: User, pulse: Callable[..., None]) -> Pack:
    with zipfile.ZipFile(path, "w") as archive:
        pack = Pack(archive, person, user, pulse)
        for step in sorted(export_steps.all(), key=lambda step: step.order):
            step.run(pack)
        pack.data("contents.json", pack.contents)
    return pack


def _publish(row: PersonRequest, path: Path, pack: Pack) -> None:
    row.stored = files.publish(
        temporary=path,
        area=StoredFile.Area.MEDIA,
        kind="export",
        club=row.club,
        keeping_rule=KEEPING_RULE,
        content_type="application/zip",
        suffix=".zip",
    )
    row.certificate = {"clips": pack.clips}
    row.state, row.answered_at = State.DONE, timezone.now()
    row.save(update_fields=["stored", "certificate", "state", "answered_at"])
    detail = {"request": str(row.pk), "clips": len(pack.clips), "files": len(pack.contents)}
    audit.record(action="export.made", by=row.user, subject=row, club=row.club, detail=detail)


def export_failed(job: Job) -> None:
    """It could not be made: the club sees a request that waits for its answer."""
    rows = PersonRequest.objects.filter(pk__in=[job.subject_id], state=State.RUNNING)
    rows.update(state=State.OPEN)


# --- fetching and forgetting ---------------------------------------------------------------------


def waits_to_be_fetched() -> Q:
    return Q(
        kind=PersonRequest.Kind.TAKE_ALONG,
        state=State.DONE,
        fetched_at__isnull=True,
        stored__state=StoredFile.State.READY,
        stored__delete_by__gt=timezone.now(),
    )


@transaction.atomic
def fetch(*, request: PersonRequest, by: User) -> StoredFile | None:
    """Hand the file out, to one who asks: of two at once, one gets it. None: it is gone."""
    rows = PersonRequest.objects.made_by(by).filter(waits_to_be_fetched(), pk=request.pk)
    if PersonRequest.objects.filter(pk__in=rows.values("pk"), fetched_at__isnull=True).update(
        fetched_at=timezone.now()
    ):
        request.refresh_from_db()
        audit.record(action="export.fetch", by=by, subject=request, club=request.club)
        return request.stored
    return None


def until(_file: StoredFile) -> dt.datetime:
    """The keeping rule: seven days, fetched or not."""
    return timezone.now() + KEPT


def forget_exports() -> int:
    """A step of the sweep: what was fetched, or waited for too long, goes from the disk."""
    now = timezone.now()
    old = Q(fetched_at__lt=now - AFTER_FETCHING) | Q(stored__delete_by__lte=now)
    rows = PersonRequest.objects.filter(old, kind=PersonRequest.Kind.TAKE_ALONG)
    due = list(rows.filter(stored__isnull=False).select_related("stored__club")[:BATCH])
    for row in due:
        forget_export(row)
    return len(due)


@transaction.atomic
def forget_export(row: PersonRequest) -> None:
    """The file, then its rows: nothing of it stays."""
    stored = row.stored
    PersonRequest.objects.filter(pk=row.pk).update(stored=None, certificate={})
    if stored is not None:
        files.remove(file=stored)
        stored.delete()
