"""What goes of a clinic beside footage when its time has come: what is left of uploads, and in the
end everybody's names in its records."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Exists, OuterRef, Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from clinics.actions.keeping import records_until
from clinics.actions.keeping_rules import rules_of_clubs
from clinics.actions.purge_originals import files_of
from clinics.actions.upload_parts import part_path
from clinics.models import (
    BoardAct,
    CautionRead,
    Clinic,
    Custody,
    Entry,
    HeardStart,
    Phone,
    Recording,
    StartLogEntry,
    StationWord,
    Swim,
    TakenBack,
    Upload,
    VenueSheet,
)
from clinics.privacy import held_by_part
from portal.actions.audit import record
from portal.actions.ledger import note_deleted
from portal.actions.purge import delete_files
from portal.registry import Due, Gone, PurgeStep

if TYPE_CHECKING:
    from django.db.models import QuerySet

# --- what is left of uploads --------------------------------------------------------------------


def _old_uploads() -> list[Upload]:
    """Neither being sent nor waiting to be taken in, for longer than parts are kept."""
    ended = [Upload.State.TAKEN, Upload.State.REFUSED, Upload.State.ENDED]
    rows = Upload.objects.filter(state__in=ended, expires_at__lte=timezone.now())
    rows = rows.exclude(held_by_part(Recording="recording_id", Clinic="station__clinic_id"))
    rows = rows.select_related("station__clinic").order_by("expires_at", "pk")
    return list(rows)


def _uploads_due(at_most: int) -> list[Due]:
    rows = _old_uploads()
    rules = rules_of_clubs(row.station.clinic.club_id for row in rows)
    found = []
    for row in rows:
        kept = dt.timedelta(days=rules(row.station.clinic.club_id).upload_parts_days)
        since = row.expires_at + kept
        if since <= timezone.now():
            found.append(Due(Upload._meta.label, row.pk, since))
    return found[:at_most]


@transaction.atomic
def _delete_upload(due: Due) -> Gone | None:
    rows = Upload.objects.select_for_update(of=("self",)).filter(pk=due.id)
    upload = rows.select_related("station__clinic__club").first()
    if upload is None:
        return None
    part = part_path(upload)
    size = part.stat().st_size if part.exists() else 0
    part.unlink(missing_ok=True)
    note_deleted(Upload._meta.label, upload.pk)
    club, subject = upload.station.clinic.club, Upload(pk=upload.pk)
    upload.delete()
    record(action="purge.upload", by=None, subject=subject, club=club)
    return Gone({Upload._meta.label: 1}, int(size > 0), size)


UPLOADS_STEP = PurgeStep(
    name="uploads",
    label=_("What is left of uploads"),
    order=500,
    due=_uploads_due,
    held=lambda: 0,
    delete=_delete_upload,
)

# --- a clinic's records -------------------------------------------------------------------------


def _old_clinics() -> QuerySet[Clinic]:
    """With names in their records, although no swim is left. By day, oldest first."""
    swims = Swim.objects.filter(entry__clinic_id=OuterRef("pk"))
    records = (Entry, StartLogEntry, Phone, BoardAct, Custody, HeardStart, CautionRead, VenueSheet)
    named = Q(Exists(Recording.objects.filter(station__clinic_id=OuterRef("pk"))))
    for model in records:
        named |= Q(Exists(model._base_manager.filter(clinic_id=OuterRef("pk"))))
    return Clinic.objects.filter(named, ~Exists(swims)).order_by("date", "pk")


def _held_clinic() -> Q:
    entries = Entry.objects.filter(clinic_id=OuterRef("pk"))
    recordings = Recording.objects.filter(station__clinic_id=OuterRef("pk"))
    return (
        held_by_part(Clinic="pk")
        | Q(Exists(entries.filter(held_by_part(Entry="pk", Swimmer="swimmer_id"))))
        | Q(Exists(recordings.filter(held_by_part(Recording="pk"))))
    )


def _is_old(clinic: Clinic) -> bool:
    return records_until(clinic) <= timezone.now()


def _clinics_due(at_most: int) -> list[Due]:
    rows = _old_clinics().exclude(_held_clinic()).filter(date__lt=timezone.localdate())
    old = [clinic for clinic in rows if _is_old(clinic)]
    return [Due(Clinic._meta.label, one.pk, records_until(one)) for one in old[:at_most]]


@transaction.atomic
def _delete_records(due: Due) -> Gone | None:
    Clinic.objects.select_for_update().filter(pk=due.id).first()
    free = _old_clinics().exclude(_held_clinic()).filter(pk=due.id)
    clinic = free.select_related("club").first()
    if clinic is None or not _is_old(clinic):
        return None
    recordings = list(Recording.objects.filter(station__clinic=clinic))
    tables = [row.frame_table for row in recordings if row.frame_table]
    gone = delete_files([*tables, *(file for row in recordings for file in files_of(row))])
    rows: Counter[str] = Counter()
    for found in (
        Upload.objects.filter(station__clinic=clinic),
        Recording.objects.filter(station__clinic=clinic),
        HeardStart.objects.filter(clinic=clinic),
        StartLogEntry.objects.filter(clinic=clinic),
        Phone.objects.filter(clinic=clinic),  # with what they told of their clocks
        StationWord.objects.filter(station__clinic=clinic),
        BoardAct.objects.filter(clinic=clinic),
        Custody.objects.filter(clinic=clinic),
        CautionRead.objects.filter(clinic=clinic),
        VenueSheet.objects.filter(clinic=clinic),  # who gave permission, who measured, who watched
        Entry.objects.filter(clinic=clinic),
    ):
        for pk in found.values_list("pk", flat=True):
            note_deleted(found.model._meta.label, pk)
        rows.update(found.delete()[1])
    TakenBack.objects.filter(clinic=clinic).delete()
    detail = {"rows": dict(rows), "files": gone.files, "size_bytes": gone.size_bytes}
    record(action="purge.records", by=None, subject=clinic, club=clinic.club, detail=detail)
    return Gone(dict(rows), gone.files, gone.size_bytes)


RECORDS_STEP = PurgeStep(
    name="records",
    label=_("Rosters, start logs and recordings' rows, by clinic"),
    order=600,
    due=_clinics_due,
    held=lambda: sum(_is_old(clinic) for clinic in _old_clinics().filter(_held_clinic())),
    delete=_delete_records,
)
