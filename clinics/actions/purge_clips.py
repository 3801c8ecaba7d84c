"""What goes of a swim when its time has come: first its clips (the swim: purge_swims.py).

Each date is worked out once more under the lock, so that a date that is behind what is known by
now (the swim was given a moment ago) deletes nothing.
"""

from __future__ import annotations

import uuid
from collections import Counter
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Count, Exists, Min, OuterRef, Q, Sum
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from clinics.actions.clip_files import cancel_render, stored_of
from clinics.actions.keeping import CLIPS, WITHDRAWN
from clinics.actions.keeping_dates import date_swims
from clinics.models import Clip, ClipFile, Swim
from clinics.privacy import held_by_part
from portal.actions.audit import record
from portal.actions.ledger import note_deleted
from portal.actions.purge import delete_files
from portal.models import StoredFile
from portal.registry import Due, Gone, PurgeStep

if TYPE_CHECKING:
    from django.db.models import QuerySet

TABLE_KIND = "pts-table"


def held_swim(path: str = "") -> Q:
    """There is a hold on the swim at this path, or on what it is part of."""
    return held_by_part(
        Swim=f"{path}pk",
        Entry=f"{path}entry_id",
        Swimmer=f"{path}entry__swimmer_id",
        Clinic=f"{path}entry__clinic_id",
    )


def held_clip() -> Q:
    """On the clip, what it is part of, or one of its files."""
    files = ClipFile.objects.filter(clip_id=OuterRef("pk"))
    of_files = held_by_part(ClipFile="pk", StoredFile="stored_id")
    of_files |= held_by_part(StoredFile="pts_table_id")
    own = held_by_part(Clip="pk", Recording="recording_id")
    return own | held_swim("swim__") | Q(Exists(files.filter(of_files)))


# --- clips ----------------------------------------------------------------------------------------


def due_clips() -> QuerySet[Clip]:
    return Clip.objects.filter(delete_by__isnull=False, delete_by__lte=timezone.now())


def _clips_due(at_most: int) -> list[Due]:
    """One for each swim."""
    free = due_clips().exclude(held_clip()).order_by()
    swims = free.values("swim_id").annotate(since=Min("delete_by")).order_by("since", "swim_id")
    rows = list(swims[:at_most].values_list("swim_id", "since"))
    of_swims = sizes_of([pk for pk, _since in rows], free)
    return [Due(Swim._meta.label, pk, since, *of_swims.get(pk, (0, 0))) for pk, since in rows]


def sizes_of(swims: list[uuid.UUID], clips: QuerySet[Clip]) -> dict[uuid.UUID, tuple[int, int]]:
    """How many files these clips have by swim, and of how many bytes."""
    found: Counter[tuple[uuid.UUID, str]] = Counter()
    for path in ("stored", "pts_table"):
        rows = ClipFile.objects.filter(clip__swim__in=swims, clip__in=clips.values("pk"))
        rows = rows.filter(**{f"{path}__state": StoredFile.State.READY}).order_by()
        told = rows.values("clip__swim").annotate(n=Count(path), size=Sum(f"{path}__size_bytes"))
        for pk, files, size in told.values_list("clip__swim", "n", "size"):
            found[(pk, "files")] += files
            found[(pk, "size")] += size
    return {pk: (found[(pk, "files")], found[(pk, "size")]) for pk in swims}


def lock_swim(pk: uuid.UUID) -> Swim | None:
    rows = Swim.objects.select_for_update(of=("self",)).filter(pk=pk)
    swim = rows.select_related("entry__clinic__club").first()
    if swim is not None:
        date_swims(Swim.objects.filter(pk=pk))
        swim.refresh_from_db(fields=["delete_by"])
    return swim


@transaction.atomic
def _delete_clips(due: Due) -> Gone | None:
    swim = lock_swim(due.id)
    if swim is None:
        return None
    clips = list(due_clips().filter(swim=swim).exclude(held_clip()))
    if not clips:
        return None
    gone = delete_clips(clips)
    if not Clip.objects.filter(swim=swim).exists():
        Swim.objects.filter(pk=swim.pk).update(clips_gone_at=timezone.now())
    detail = {"clips": len(clips), "files": gone.files, "size_bytes": gone.size_bytes}
    record(action="purge.clips", by=None, subject=swim, club=swim.entry.clinic.club, detail=detail)
    return gone


def delete_clips(clips: list[Clip]) -> Gone:
    """Their jobs, files and rows, and what hangs on the rows."""
    for clip in clips:
        cancel_render(clip, None)
        note_deleted(Clip._meta.label, clip.pk)
    pks = [clip.pk for clip in clips]
    files = ClipFile.objects.filter(clip__in=pks).select_related("stored", "pts_table")
    gone = delete_files(stored_of(files))
    _count, rows = Clip.objects.filter(pk__in=pks).delete()
    return Gone(rows, gone.files, gone.size_bytes)


def _clips_held() -> int:
    return due_clips().filter(held_clip()).order_by().values("swim_id").distinct().count()


CLIPS_STEP = PurgeStep(
    name="clips",
    label=_("Clips, by swim"),
    order=200,
    due=_clips_due,
    held=_clips_held,
    delete=_delete_clips,
    rules=frozenset({CLIPS, WITHDRAWN}),
)


# --- files of clips that no row knows ------------------------------------------------------------


def _strays() -> QuerySet[StoredFile]:
    """Published for a clip that has other files by now, or none."""
    rows = ClipFile.objects.all()
    known = Exists(rows.filter(stored_id=OuterRef("pk")))
    known_table = Exists(rows.filter(pts_table_id=OuterRef("pk")))
    due = StoredFile.objects.filter(
        keeping_rule__in=[CLIPS, WITHDRAWN],
        kind__in=[*ClipFile.Kind.values, TABLE_KIND],
        state=StoredFile.State.READY,
        delete_by__isnull=False,
        delete_by__lte=timezone.now(),
    )
    return due.exclude(known).exclude(known_table)


def _strays_due(at_most: int) -> list[Due]:
    rows = _strays().exclude(held_by_part(StoredFile="pk")).order_by("delete_by", "pk")
    told = rows.values_list("pk", "delete_by", "size_bytes")[:at_most]
    return [Due(StoredFile._meta.label, pk, since, 1, size) for pk, since, size in told if since]


@transaction.atomic
def _delete_stray(due: Due) -> Gone | None:
    rows = _strays().exclude(held_by_part(StoredFile="pk")).select_for_update(of=("self",))
    file = rows.select_related("club").filter(pk=due.id).first()
    if file is None:
        return None
    gone = delete_files([file])
    record(action="purge.file", by=None, subject=file, club=file.club, detail={"kind": file.kind})
    return gone


STRAYS_STEP = PurgeStep(
    name="clip-files",
    label=_("Files of clips that were made again since"),
    order=210,
    due=_strays_due,
    held=lambda: _strays().filter(held_by_part(StoredFile="pk")).count(),
    delete=_delete_stray,
)
