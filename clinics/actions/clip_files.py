"""A clip's files: asking for them, and taking them away."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Q

from clinics.models import Clip, ClipFile
from clinics.privacy import held_by_part
from portal.actions import files
from portal.actions.jobs import OPEN, cancel, enqueue
from portal.models import Job

if TYPE_CHECKING:
    from clinics.models import Swim
    from portal.models import StoredFile, User

RENDER_KIND = "render-clip"
FIRST_PRIORITY = 1000  # after whatever else is asked for; the first swimmer's views come first
OPEN_NOW_PRIORITY = 30  # somebody looks at the swim

_gone_too: dict[str, Callable[[Clip], object]] = {}


def take_away_with_files(name: str, take_away: Callable[[Clip], object]) -> None:
    """Register at start-up: `take_away(clip)` takes away what a later package made of the files,
    when a clip's files are taken away while the clip stays."""
    _gone_too[name] = take_away


@transaction.atomic
def remove_clip(*, clip: Clip, by: User | None) -> None:
    """Take a clip away: its job, its rows, then its files."""
    cancel_render(clip, by)
    stored = stored_of(clip.files.select_related("stored", "pts_table"))
    clip.delete()
    remove_on_commit(stored, by)


def cancel_render(clip: Clip, by: User | None) -> None:
    for job in Job.objects.filter(kind=RENDER_KIND, subject_id=clip.pk, state__in=OPEN):
        cancel(job=job, by=by)


def stored_of(rows: Iterable[ClipFile]) -> list[StoredFile]:
    both = [stored for row in rows for stored in (row.stored, row.pts_table) if stored is not None]
    return list({stored.pk: stored for stored in both}.values())


def remove_on_commit(stored: list[StoredFile], by: User | None) -> None:
    """Files go only when nothing points to them any more; the sweep finds what a crash leaves."""

    def remove() -> None:
        for file in stored:
            files.remove(file=file, by=by)

    if stored:
        transaction.on_commit(remove)


def is_held() -> Q:
    """Of clips: there is a hold on it, on what it is part of, or on one of its files. Nothing of
    it is changed then."""
    files = ClipFile.objects.filter(held_by_part(ClipFile="pk", StoredFile="stored_id"))
    return Q(pk__in=files.values("clip_id")) | held_by_part(
        Clip="pk",
        Recording="recording_id",
        Swim="swim_id",
        Entry="swim__entry_id",
        Swimmer="swim__entry__swimmer_id",
        Clinic="swim__entry__clinic_id",
    )


@transaction.atomic
def take_files_away(clip: Clip, *, but: Iterable[ClipFile] = ()) -> None:
    """The clip's files go at once, and what was made of them; the row stays. `but`: what the new
    files are made from."""
    kept = list(but)
    rows = clip.files.exclude(pk__in=[row.pk for row in kept])
    still_used = set(stored_of(kept))
    stored = [
        f for f in stored_of(rows.select_related("stored", "pts_table")) if f not in still_used
    ]
    rows.delete()
    remove_on_commit(stored, None)
    for take_away in _gone_too.values():
        take_away(clip)


def ask_to_render(clip: Clip, place: int, by: User | None) -> None:
    """`place` in the order of work: small numbers first."""
    enqueue(kind=RENDER_KIND, subject=clip, asked_by=by, priority=FIRST_PRIORITY + place)


def open_now(*, clip: Clip) -> None:
    """Somebody looks at this clip: it is made before the others."""
    if clip.state in (Clip.State.WAITING, Clip.State.RENDERING):
        enqueue(kind=RENDER_KIND, subject=clip, priority=OPEN_NOW_PRIORITY)


def open_swim(*, swim: Swim) -> int:
    """Somebody opens this swim: what is still to be made of it is made before the rest, in
    order. How many clips that are; it asks for nothing if all are there."""
    waiting = Clip.objects.filter(swim=swim, state=Clip.State.WAITING)
    count = 0
    for clip in waiting.order_by("station__order", "pass_no"):
        enqueue(kind=RENDER_KIND, subject=clip, priority=OPEN_NOW_PRIORITY)
        count += 1
    return count


def make_again(*, clip: Clip, by: User | None) -> None:
    """Try a failed clip again."""
    Clip.objects.filter(pk=clip.pk, state=Clip.State.FAILED).update(state="waiting", reason="")
    enqueue(kind=RENDER_KIND, subject=clip, asked_by=by, priority=OPEN_NOW_PRIORITY)
