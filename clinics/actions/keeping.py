"""Until when clips are kept: by the club's rule, or shorter when their swimmer withdraws.

Rows and files carry the date; the fence hides what is due from that instant on.
"""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.db.models import Q

from clinics.models import Clinic, Clip, ClipFile, Swim, Swimmer
from portal.models import StoredFile

if TYPE_CHECKING:
    from django.db.models import QuerySet

CLIPS, WITHDRAWN = "clips", "withdrawn"  # names of keeping rules
CLIPS_KEPT = dt.timedelta(days=365)
WITHDRAWN_KEPT = dt.timedelta(days=30)  # time for the swimmer to take along what is theirs


def clips_delete_by(clinic: Clinic, *, cut_at: dt.datetime) -> dt.datetime:
    """Clips are kept for a year from the day of the clinic, or from when they are first cut
    if that is later (recordings of an old clinic)."""
    from_day = max(clinic.date, cut_at.date())
    return dt.datetime.combine(from_day + CLIPS_KEPT, dt.time(), dt.UTC)


def clip_files_delete_by(file: StoredFile) -> dt.datetime | None:
    """The date of the clip that a file belongs to; not known before its row is written."""
    rows = ClipFile.objects.filter(Q(stored=file) | Q(pts_table=file)).select_related("clip")
    row = rows.first()
    return row.clip.delete_by if row is not None else None


def begin_deletion(*, swimmer: Swimmer, withdrawn_at: dt.datetime) -> None:
    """The swimmer agrees no longer: swims, clips and files go after `WITHDRAWN_KEPT`, unless
    they go before that anyhow."""
    until = withdrawn_at + WITHDRAWN_KEPT
    later = Q(delete_by__isnull=True) | Q(delete_by__gt=until)
    swims = Swim.objects.filter(entry__swimmer=swimmer)
    clips = Clip.objects.filter(swim__in=swims)
    swims.filter(later).update(delete_by=until)
    clips.filter(later).update(delete_by=until)
    _files_of(clips).filter(later).update(delete_by=until, keeping_rule=WITHDRAWN)


def lift_deletion(*, swimmer: Swimmer) -> None:
    """The swimmer agrees again: what is still there is kept as if nothing had been."""
    swims = Swim.objects.filter(entry__swimmer=swimmer, delete_by__isnull=False)
    clips = Clip.objects.filter(swim__in=swims).select_related("swim__entry__clinic")
    for clip in clips:
        clip.delete_by = clips_delete_by(clip.swim.entry.clinic, cut_at=clip.created_at)
        clip.save(update_fields=["delete_by"])
        mine = _files_of(Clip.objects.filter(pk=clip.pk)).filter(keeping_rule=WITHDRAWN)
        mine.update(delete_by=clip.delete_by, keeping_rule=CLIPS)
    swims.update(delete_by=None)


def _files_of(clips: QuerySet[Clip]) -> QuerySet[StoredFile]:
    """What is made of the clips and still there, with the tables of frame times."""
    rows = ClipFile.objects.filter(clip__in=clips)
    of_clips = Q(pk__in=rows.values("stored_id")) | Q(pk__in=rows.values("pts_table_id"))
    return StoredFile.objects.filter(of_clips, state=StoredFile.State.READY)
