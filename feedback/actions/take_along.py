"""Stills and films to take along: asking for them, taking them away, and how long they are kept.

Making them is feedback/actions/make_take_along.py.
"""

from __future__ import annotations

import datetime as dt
import json
from functools import partial
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Count, Exists, F, Min, OuterRef, Q, QuerySet
from django.utils import timezone

from clinics.models import Clip, Swim
from clinics.privacy import held_by_part
from feedback.actions.clip_clocks import ClipFilm, film_of
from feedback.actions.frames import FrameUnknown
from feedback.compute.take_along import Spec, SpecWrong, spec_of
from feedback.models import TakeAlong
from portal.actions import files
from portal.actions.audit import record
from portal.actions.jobs import OPEN, cancel, enqueue
from portal.models import AuditEntry, Job, StoredFile

if TYPE_CHECKING:
    from portal.models import User

JOB_KIND = "make-take-along"
KEEPING_RULE = "take-along"
FILE_KIND = "take-along"
PRIORITY = 40
"""After a clip that somebody waits for in the room, before all other rendering."""
MOST_WAITING = 12
BATCH = 50
ORPHAN_AFTER = dt.timedelta(minutes=10)
ONE_DOWNLOAD = dt.timedelta(minutes=15)
HELD_WITH = {
    "Swim": "swim_id",
    "StoredFile": "stored_id",
    "Entry": "entry_id",
    "Swimmer": "entry__swimmer_id",
    "Clinic": "entry__clinic_id",
}


class TooManyWaiting(Exception):
    """So many of this person's are being made already that one more has to wait."""


@transaction.atomic
def ask(*, swim: Swim, by: User, spec: Spec, for_swimmer: bool = False) -> TakeAlong:
    """The row, and the job that makes it. Asked for again while it waits, it is the same one.

    Raises FrameUnknown if a view is none that `by` sees of this swim or lacks such a frame, and
    TooManyWaiting.
    """
    locked = Swim.objects.select_for_update(of=("self",)).select_related("entry__clinic__club")
    swim = locked.get(pk=swim.pk)
    clips = clips_of(spec, swim, by)
    at_s = span_s(spec, film_of(clips[0], by))
    mine = TakeAlong.objects.filter(swim=swim, asked_by=by, for_swimmer=for_swimmer)
    mine = mine.visible_to(by).filter(kind=str(spec.kind), state=TakeAlong.State.WAITING)
    row = next((one for one in mine if _same(one, spec)), None)
    if row is None:
        waiting = TakeAlong.objects.filter(asked_by=by, state=TakeAlong.State.WAITING)
        if waiting.count() >= MOST_WAITING:
            raise TooManyWaiting
        row = TakeAlong.objects.create(
            swim=swim,
            entry=swim.entry,
            clip_count=len(clips),
            kind=str(spec.kind),
            spec={**spec.to_json(), "at_s": at_s},
            asked_by=by,
            for_swimmer=for_swimmer,
        )
        row.clips.set(clips)
        _note("take-along.ask", row, by)
    enqueue(kind=JOB_KIND, subject=row, asked_by=by, priority=PRIORITY)
    return row


def _same(row: TakeAlong, spec: Spec) -> bool:
    try:
        return spec_of(row.spec) == spec
    except SpecWrong:
        return False


def clips_of(spec: Spec, swim: Swim, by: User) -> list[Clip]:
    """The clips in order, the frames asked for being theirs. Raises FrameUnknown."""
    seen = Clip.objects.visible_to(by).filter(swim=swim, pk__in=spec.clips)
    seen = seen.select_related("swim", "station", "recording__clock_fit")
    found = {str(clip.pk): clip for clip in seen}
    if len(found) < len(spec.clips):
        raise FrameUnknown("not every view is one of this swim's")
    clips = [found[key] for key in spec.clips]
    if spec.to_frame >= clips[0].frame_count:
        raise FrameUnknown(f"clip {clips[0].pk} has no frame {spec.to_frame}")
    return clips


def span_s(spec: Spec, film: ClipFilm) -> list[float] | None:
    """Swim times of the first and the last frame; None while the clock is not known."""
    if not film.knows_time:
        return None
    return [film.clock.begins_s(spec.from_frame), film.clock.begins_s(spec.to_frame)]


@transaction.atomic
def remove(*, take_along: TakeAlong, by: User | None) -> None:
    """Its job, its row, then its file. Done twice it is noted once."""
    rows = TakeAlong.objects.select_for_update(of=("self",)).filter(pk=take_along.pk)
    row = rows.select_related("stored__club", "swim__entry__clinic__club").first()
    if row is None:
        return
    for job in Job.objects.filter(kind=JOB_KIND, subject_id=row.pk, state__in=OPEN):
        cancel(job=job, by=by)
    stored = row.stored
    _note("take-along.remove", row, by)
    row.delete()
    if stored is not None:
        transaction.on_commit(partial(files.remove, file=stored, by=by))


@transaction.atomic
def note_download(*, take_along: TakeAlong, by: User, whole: bool) -> None:
    """Somebody is sent the file: it counts among those who saw the swim. The parts in which a
    browser fetches it are one download, however they are cut."""
    if whole or not _noted(take_along, by):
        _note("take-along.download", take_along, by)


def _noted(row: TakeAlong, by: User) -> bool:
    entries = AuditEntry.objects.filter(
        action="take-along.download",
        actor_id=by.pk,
        subject_kind=Swim._meta.label,
        subject_id=str(row.swim_id),
        at__gt=timezone.now() - ONE_DOWNLOAD,
    )
    told = [json.loads(entry.text)["detail"] for entry in entries]
    return any(detail.get("take_along") == str(row.pk) for detail in told)


def _note(action: str, row: TakeAlong, by: User | None) -> None:
    """About the swim, so that who looks up who saw it finds it there."""
    record(
        action=action,
        by=by,
        subject=row.swim,
        club=row.swim.entry.clinic.club,
        detail={"take_along": str(row.pk), "kind": row.kind, "for_swimmer": row.for_swimmer},
    )


# --- how long it is kept ----------------------------------------------------------------------


def delete_by(file: StoredFile) -> dt.datetime | None:
    """The earliest date of the clips in it; not known before its row is written."""
    row = TakeAlong.objects.filter(stored=file).first()
    return earliest_of(row) if row is not None else None


def earliest_of(row: TakeAlong) -> dt.datetime | None:
    earliest: dt.datetime | None = row.clips.aggregate(at=Min("delete_by"))["at"]
    return earliest


def date_again(clips: QuerySet[Clip]) -> None:
    """These clips have other dates now: so has what was made of them."""
    rows = TakeAlong.objects.filter(clips__in=clips, stored__state=StoredFile.State.READY)
    for row in rows.select_related("stored").distinct():
        assert row.stored is not None
        row.stored.delete_by = earliest_of(row)
        row.stored.save(update_fields=["delete_by"])


def sweep() -> int:
    """Take away what nobody can see any more for good: a clip in it is gone, was made again or is
    due, or the swim is another's. What is held stays. Then files whose row went with its swim."""
    gone = list(fallen()[:BATCH])
    for row in gone:
        remove(take_along=row, by=None)
    orphans = StoredFile.objects.filter(
        kind=FILE_KIND,
        state=StoredFile.State.READY,
        take_along__isnull=True,
        created_at__lt=timezone.now() - ORPHAN_AFTER,
    ).exclude(held_by_part(StoredFile="pk"))
    left = list(orphans.select_related("club")[:BATCH])
    return len(gone) + sum(files.remove(file=file) for file in left)


def take_away_of(clip: Clip) -> None:
    """The clip's files were taken away: so is what was made of them. What is held stays, where
    nobody sees it."""
    for row in _not_held(TakeAlong.objects.filter(clips=clip)):
        remove(take_along=row, by=None)


def _not_held(rows: QuerySet[TakeAlong]) -> QuerySet[TakeAlong]:
    shown = TakeAlong.clips.through.objects.filter(takealong_id=OuterRef("pk"))
    clips_held = Clip.objects.filter(held_by_part(Clip="pk", Recording="recording_id"))
    some_held = shown.filter(clip_id__in=clips_held.values("pk"))
    return rows.exclude(held_by_part(**HELD_WITH)).exclude(Exists(some_held))


def fallen() -> QuerySet[TakeAlong]:
    """What nobody can see any more for good, and what is due; without what is held."""
    now = timezone.now()
    shown = TakeAlong.clips.through.objects.filter(takealong_id=OuterRef("pk"))
    again = shown.filter(clip__rendered_at__gt=OuterRef("created_at"))
    due = shown.filter(clip__delete_by__lte=now)
    rows = TakeAlong.objects.annotate(clips_there=Count("clips")).filter(
        Exists(again)
        | Exists(due)
        | Q(clips_there__lt=F("clip_count"))
        | ~Q(entry_id=F("swim__entry_id"))
        | Q(stored__delete_by__lte=now)
        | Q(stored__state=StoredFile.State.DELETED)
    )
    return _not_held(rows).order_by("created_at")
