"""Until when things are kept: what other actions ask for, and what they start.

Rows and files carry the date; the fence hides what is due from that instant on. The club's rules
are keeping_rules.py, the dates of swims and clips keeping_dates.py, the days themselves
clinics/compute/keeping.py; what is due goes by purge.py. Here: what follows when a swimmer agrees
no longer, or again; and originals, with what is made of them.
"""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Q

from clinics.actions.keeping_dates import date_swims, date_too, date_with_clips
from clinics.actions.keeping_rules import rules_of
from clinics.compute import keeping as days
from clinics.compute.keeping import begin_of
from clinics.models import Clinic, Clip, ClipFile, Recording, SourceFile, Swim, Swimmer
from portal.models import StoredFile

if TYPE_CHECKING:
    from django.db.models import QuerySet

__all__ = ["date_with_clips"]  # where later packages look for it

CLIPS, WITHDRAWN = "clips", "withdrawn"  # names of keeping rules
ORIGINALS, RECORDING = "originals", "recording"
WITHDRAWN_KEPT = dt.timedelta(days=30)  # time for the swimmer to take along what is theirs


def clips_delete_by(clinic: Clinic, *, cut_at: dt.datetime) -> dt.datetime:
    """The latest date that the clinic's clips can have. The swimmer's next clinic, and whether it
    is given, make it sooner: `date_swims`."""
    until = days.clips_until(
        rules_of(clinic.club_id),
        clinic_day=clinic.date,
        cut_day=cut_at.date(),
        given=True,
        looked_day=None,
        other_days=(),
    )
    return begin_of(until.day)


def clip_files_delete_by(file: StoredFile) -> dt.datetime | None:
    """The date of the clip that a file belongs to; not known before its row is written."""
    rows = ClipFile.objects.filter(Q(stored=file) | Q(pts_table=file)).select_related("clip")
    row = rows.first()
    return row.clip.delete_by if row is not None else None


def begin_deletion(*, swimmer: Swimmer, withdrawn_at: dt.datetime) -> None:
    """The swimmer agrees no longer: swims, clips and files go after `WITHDRAWN_KEPT`, unless
    they go before that anyhow."""
    begin_deletion_of(swims=Swim.objects.filter(entry__swimmer=swimmer), withdrawn_at=withdrawn_at)


@transaction.atomic
def begin_deletion_of(*, swims: QuerySet[Swim], withdrawn_at: dt.datetime) -> None:
    """As `begin_deletion`, of these swims only: they turned out to be of somebody who does not
    agree."""
    until = withdrawn_at + WITHDRAWN_KEPT
    # locked as `date_swims` locks them, which else might write what was true a moment ago
    swims = Swim.objects.filter(pk__in=list(swims.values_list("pk", flat=True)))
    list(swims.select_for_update().order_by("pk").values_list("pk"))
    later = Q(delete_by__isnull=True) | Q(delete_by__gt=until)
    clips = Clip.objects.filter(swim__in=swims)
    clips.filter(later).update(delete_by=until)
    _files_of(clips).filter(later).update(delete_by=until, keeping_rule=WITHDRAWN)
    swims.filter(later).update(delete_by=until)
    date_too(clips)


@transaction.atomic
def lift_deletion(*, swimmer: Swimmer) -> None:
    """The swimmer agrees again: what is still there is kept as if nothing had been."""
    swims = Swim.objects.filter(entry__swimmer=swimmer)
    clips = Clip.objects.filter(swim__in=swims)
    _files_of(clips).filter(keeping_rule=WITHDRAWN).update(keeping_rule=CLIPS)
    date_swims(swims)


def _files_of(clips: QuerySet[Clip]) -> QuerySet[StoredFile]:
    """What is made of the clips and still there, with the tables of frame times."""
    rows = ClipFile.objects.filter(clip__in=clips)
    of_clips = Q(pk__in=rows.values("stored_id")) | Q(pk__in=rows.values("pts_table_id"))
    return StoredFile.objects.filter(of_clips, state=StoredFile.State.READY)


# --- originals ---------------------------------------------------------------------------------


def originals_until(clinic: Clinic, *, brought_in_at: dt.datetime | None = None) -> dt.datetime:
    """So many days after the clinic is closed; of one that nobody closes, as a clip at most."""
    rules = rules_of(clinic.club_id)
    if clinic.closed_at is not None:
        return clinic.closed_at + dt.timedelta(days=rules.originals_days)
    brought_day = brought_in_at.date() if brought_in_at else clinic.date
    until = days.originals_until(rules, clinic_day=clinic.date, brought_day=brought_day)
    return begin_of(until.day)


def originals_delete_by(file: StoredFile) -> dt.datetime | None:
    """Of a source file, or of the sound track made from it; not known before its row is
    written."""
    of_file = Q(files__stored_id=file.pk) | Q(sound_track_id=file.pk)
    row = Recording.objects.filter(of_file).select_related("station__clinic").first()
    if row is None:
        return None
    return originals_until(row.station.clinic, brought_in_at=row.brought_in_at)


def recording_delete_by(file: StoredFile) -> dt.datetime | None:
    """Of what is made of a recording. What shows or sounds like it goes with the originals; the
    table of its frames' times stays with what was said about them."""
    shown = Q(sound_envelope_id=file.pk) | Q(contact_strip_id=file.pk) | Q(motion_id=file.pk)
    rows = Recording.objects.select_related("station__clinic")
    row = rows.filter(shown).first()
    if row is not None:
        return originals_until(row.station.clinic, brought_in_at=row.brought_in_at)
    row = rows.filter(frame_table_id=file.pk).first()
    return records_until(row.station.clinic) if row is not None else None


def records_until(clinic: Clinic) -> dt.datetime:
    """Until when the start log, the roster and the rows of recordings are kept."""
    return begin_of(days.records_until(rules_of(clinic.club_id), clinic_day=clinic.date))


def date_originals(*, clinic: Clinic) -> int:
    """Give the clinic's originals, and all that is made from whole recordings, their delete-by
    date. How many files there are."""
    recordings = Recording.objects.filter(station__clinic=clinic)
    return sum(_date_recording(recording, clinic) for recording in recordings)


def _date_recording(recording: Recording, clinic: Clinic) -> int:
    sources = SourceFile.objects.filter(recording=recording).values("stored_id")
    made = [
        recording.sound_track_id,
        recording.sound_envelope_id,
        recording.contact_strip_id,
        recording.motion_id,
    ]
    ready = StoredFile.objects.filter(state=StoredFile.State.READY)
    shown = ready.filter(Q(pk__in=sources) | Q(pk__in=[pk for pk in made if pk]))
    until = originals_until(clinic, brought_in_at=recording.brought_in_at)
    tables = ready.filter(pk__in=[pk for pk in [recording.frame_table_id] if pk])
    return shown.update(delete_by=until) + tables.update(delete_by=records_until(clinic))


def date_all_originals() -> int:
    """A step of the sweep: of all clinics that still have originals. How many clinics."""
    there = SourceFile.objects.filter(stored__state=StoredFile.State.READY)
    clinics = Clinic.objects.filter(pk__in=there.values("recording__station__clinic_id"))
    for clinic in clinics:
        date_originals(clinic=clinic)
    return len(clinics)
