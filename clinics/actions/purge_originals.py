"""Originals go when their time has come, with what is made of whole recordings."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Exists, OuterRef, Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from clinics.actions.keeping import ORIGINALS, RECORDING, date_originals
from clinics.models import Recording, SourceFile
from clinics.privacy import held_by_part
from portal.actions.audit import record
from portal.actions.purge import delete_files
from portal.models import StoredFile
from portal.registry import Due, Gone, PurgeStep

if TYPE_CHECKING:
    from django.db.models import QuerySet

MADE = ("sound_track", "sound_envelope", "contact_strip", "motion")
"""What shows or sounds like the original. The table of its frames' times stays with the row."""


def _due_files() -> QuerySet[StoredFile]:
    return StoredFile.objects.filter(
        state=StoredFile.State.READY, delete_by__isnull=False, delete_by__lte=timezone.now()
    )


def _due_recordings() -> QuerySet[Recording]:
    sources = SourceFile.objects.filter(recording_id=OuterRef("pk"), stored__in=_due_files())
    of_made = Q(pk__in=[])
    for name in MADE:
        of_made |= Q(**{f"{name}__in": _due_files()})
    return Recording.objects.filter(Q(Exists(sources)) | of_made)


def _held_recording() -> Q:
    files = SourceFile.objects.filter(recording_id=OuterRef("pk"))
    of_files = held_by_part(SourceFile="pk", StoredFile="stored_id")
    own = held_by_part(Recording="pk", Clinic="station__clinic_id")
    return own | Q(Exists(files.filter(of_files)))


def files_of(recording: Recording) -> list[StoredFile]:
    """All that shows or sounds like it and is still there."""
    sources = [row.stored for row in recording.files.select_related("stored")]
    made = [getattr(recording, name) for name in MADE]
    both = {file.pk: file for file in (*sources, *made) if file is not None}
    return [file for file in both.values() if file.state == StoredFile.State.READY]


def _recordings_due(at_most: int) -> list[Due]:
    rows = _due_recordings().exclude(_held_recording()).select_related(*MADE).order_by("pk")
    found = []
    for recording in rows[:at_most]:
        due = [file for file in files_of(recording) if _is_due(file)]
        since = min(file.delete_by for file in due if file.delete_by)
        size = sum(file.size_bytes for file in due)
        found.append(Due(Recording._meta.label, recording.pk, since, len(due), size))
    return sorted(found, key=lambda due: due.since)


def _is_due(file: StoredFile) -> bool:
    return file.delete_by is not None and file.delete_by <= timezone.now()


@transaction.atomic
def _delete_originals(due: Due) -> Gone | None:
    locked = Recording.objects.select_for_update(of=("self",)).filter(pk=due.id).first()
    if locked is None:
        return None
    date_originals(clinic=locked.station.clinic)
    free = _due_recordings().exclude(_held_recording()).filter(pk=due.id)
    recording = free.select_related("station__clinic__club", *MADE).first()
    if recording is None:
        return None
    gone = delete_files(file for file in files_of(recording) if _is_due(file))
    record(
        action="purge.originals",
        by=None,
        subject=recording,
        club=recording.station.clinic.club,
        detail={"files": gone.files, "size_bytes": gone.size_bytes},
    )
    return gone


ORIGINALS_STEP = PurgeStep(
    name="originals",
    label=_("Originals, their sound and contact strips, by recording"),
    order=400,
    due=_recordings_due,
    held=lambda: _due_recordings().filter(_held_recording()).count(),
    delete=_delete_originals,
    rules=frozenset({ORIGINALS, RECORDING}),
)
