"""What erasing a swimmer deletes of clinics: pictures. The rest is in erase_swimmer.py.

A recording from which nobody else has a clip goes with its original. One that others are in as
well stays until the club's date for originals; no picture of somebody who does not agree is
shown or made from it (dropped.py).
"""

from __future__ import annotations

import uuid

from django.db import transaction
from django.db.models import Exists, OuterRef, QuerySet
from django.utils.translation import gettext_lazy as _

from clinics.actions.clip_files import cancel_render, stored_of
from clinics.models import (
    Clip,
    ClipFile,
    Recording,
    Share,
    SourceFile,
    Swim,
)
from portal.actions import files
from portal.models import DueWarning, Hold, Job, PersonRequest, StoredFile
from portal.registry import Found, Person, PersonStep

PARTS = ("frame_table", "sound_envelope", "sound_track", "motion", "contact_strip")


def _swims(person: Person) -> QuerySet[Swim]:
    return Swim.objects.filter(entry__swimmer=person.id)


def _clips(person: Person) -> QuerySet[Clip]:
    return Clip.objects.filter(swim__entry__swimmer=person.id)


def take_off_disk(stored: list[StoredFile]) -> None:
    """From the disk first: a row that is gone never stands for a file that is there."""
    for file in stored:
        files.remove(file=file)


def forget(stored: list[StoredFile]) -> None:
    """The rows too: a checksum tells whose file it was."""
    StoredFile.objects.filter(pk__in=[file.pk for file in stored]).delete()


def forget_about(kind: str, ids: list[uuid.UUID]) -> None:
    """What the site keeps by the id of such a row: requests, warnings, ended holds, jobs."""
    for rows in (PersonRequest, DueWarning, Hold, Job):
        rows._default_manager.filter(subject_kind=kind, subject_id__in=ids).delete()


# --- clips ---------------------------------------------------------------------------------------


def _clip_files(person: Person) -> list[StoredFile]:
    rows = ClipFile.objects.filter(clip__in=_clips(person))
    return stored_of(rows.select_related("stored__club", "pts_table__club"))


def find_clips(person: Person) -> Found:
    shares = Share.objects.filter(swim__in=_swims(person)).count()
    return Found({"clips": _clips(person).count(), "shares": shares}, tuple(_clip_files(person)))


def erase_clips(person: Person) -> None:
    """With their masks, shares, and places on the shelf and in public."""
    for clip in _clips(person):
        cancel_render(clip, None)
        _erase_clip(clip)
    Share.objects.filter(swim__in=_swims(person)).delete()


def _erase_clip(clip: Clip) -> None:
    stored = stored_of(clip.files.select_related("stored__club", "pts_table__club"))
    take_off_disk(stored)
    files.forget_work(f"render-{clip.pk.hex}")
    with transaction.atomic():
        forget_about(Clip._meta.label, [clip.pk])
        clip.delete()
        forget(stored)


# --- recordings that show nobody else ------------------------------------------------------------


def _filmed(person: Person, *, alone: bool) -> QuerySet[Recording]:
    """Recordings from which this swimmer has clips, and nobody or somebody else has, too."""
    of = Clip.objects.filter(recording_id=OuterRef("pk"))
    others = Exists(of.exclude(swim__entry__swimmer=person.id))
    mine = Recording.objects.filter(Exists(of.filter(swim__entry__swimmer=person.id)))
    return mine.filter(~others) if alone else mine.filter(others, _has_original())


def _has_original() -> Exists:
    there = SourceFile.objects.filter(stored__state=StoredFile.State.READY)
    return Exists(there.filter(recording_id=OuterRef("pk")))


def _recording_files(recordings: QuerySet[Recording]) -> list[StoredFile]:
    rows = recordings.values_list("pk", *(f"{part}_id" for part in PARTS))
    ids = {pk for row in rows for pk in row[1:] if pk is not None}
    originals = SourceFile.objects.filter(recording__in=[row[0] for row in rows])
    ids |= set(originals.filter(stored__isnull=False).values_list("stored_id", flat=True))
    return list(StoredFile.objects.filter(pk__in=ids).select_related("club"))


def find_recordings(person: Person) -> Found:
    alone = _filmed(person, alone=True)
    return Found(
        {"recordings": alone.count()},
        tuple(_recording_files(alone)),
        {"recordings-with-others": _filmed(person, alone=False).count()},
    )


def erase_recordings(person: Person) -> None:
    """Their files, and what they were called; before the clips, which say whose they are."""
    for recording in _filmed(person, alone=True):
        one = Recording.objects.filter(pk=recording.pk)
        stored = _recording_files(one)
        take_off_disk(stored)
        with transaction.atomic():
            forget_about(Recording._meta.label, [recording.pk])
            one.update(**dict.fromkeys(PARTS), contact_layout={}, notes=[])
            recording.files.all().delete()
            forget(stored)


PICTURES = (
    PersonStep(
        name="recordings",
        order=40,
        find=find_recordings,
        run=erase_recordings,
        labels={
            "recordings": _("recordings that nobody else has a clip from, with their originals"),
            "recordings-with-others": _(
                "recordings that others are in too: no picture of you is shown from them, and "
                "they go with the other originals"
            ),
        },
    ),
    PersonStep(
        name="clips",
        order=50,
        find=find_clips,
        run=erase_clips,
        labels={
            "clips": _("clips, with what was made of them"),
            "shares": _("links that show a swim"),
        },
    ),
)
