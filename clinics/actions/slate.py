"""Slates that a recording shows or lets hear, taken in as ties.

The key frames are looked at once anyway (clinics/actions/index.py); the tone is found in the
sound that aligning uses. Where either says that a slate was there, every picture is read. A tone
alone does not say which second it was: it counts only beside a code that was read, or beside
another tie that tells.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from django.db import transaction

from clinics.actions import index
from clinics.actions.errors import BadInput
from clinics.actions.slate_search import NOTE, Pulse, SlateSearch, SlatesFound
from clinics.compute.slate_ties import HeardTie, SeenTie
from clinics.compute.time import from_epoch_s, media_s_to_ticks, ticks_to_media_s
from clinics.media.errors import MediaError, Stopped
from clinics.media.slate import SlateReader
from clinics.models import Clinic, Recording, Tie
from portal.actions.audit import record
from portal.actions.job_runs import JobFailed, JobStopped
from portal.actions.jobs import enqueue

if TYPE_CHECKING:
    import datetime as dt

    from clinics.media.ticks import Int64
    from portal.models import Job, User


def take_in_slates(
    *, recording: Recording, pulse: Pulse, reader: SlateReader | None = None
) -> bool:
    """Replace the recording's slate ties by what is in it now; ask to align if they changed.

    `reader` has looked at the recording's key frames; without it they are looked at here.
    Whether anything changed. May run twice. Raises Stopped when the pulse says to stop.
    """
    clinic = recording.station.clinic
    if recording.state != Recording.State.READY or clinic.state == Clinic.State.CLOSED:
        return False
    found = SlateSearch(recording, pulse).run(reader)
    changed = _save(recording, found)
    if changed:
        from clinics.actions.align import ask_to_align  # aligning comes after, and not before

        ask_to_align(clinic=clinic, by=recording.brought_in_by)
    return changed


def ask_to_read_slates(*, recording: Recording, by: User | None) -> None:
    """Of a recording that was looked through, and has a slate in it: read it again, because
    what its ties were computed with has changed (slow motion)."""
    has_ties = recording.ties.filter(found_by=Tie.FoundBy.SLATE).exists()
    if has_ties or any(note.startswith(NOTE) for note in recording.notes):
        enqueue(kind="read-slates", subject=recording, asked_by=by, priority=index.LOOK_PRIORITY)


def run_read_slates(job: Job, pulse: Pulse) -> None:
    """The job of kind "read-slates"."""
    rows = Recording.objects.select_related("station__clinic__club", "frame_table")
    recording = rows.filter(pk=str(job.subject_id)).first()
    if recording is None:
        return
    try:
        take_in_slates(recording=recording, pulse=pulse)
    except Stopped as stop:
        raise JobStopped(getattr(pulse, "why", "") or "cancelled") from stop
    except (MediaError, BadInput) as problem:
        raise JobFailed(index.words(problem)) from problem


@transaction.atomic
def _save(recording: Recording, found: SlatesFound) -> bool:
    row = Recording.objects.select_for_update().get(pk=recording.pk)
    notes = [note for note in row.notes if not note.startswith(NOTE)] + found.notes
    if notes != row.notes:
        row.notes = notes
        row.save(update_fields=["notes"])
    frames = index.frames_of(recording)
    wanted = [_seen_row(recording, frames, tie) for tie in found.seen]
    wanted += [_heard_row(recording, tie) for tie in found.heard]
    known = list(recording.ties.filter(found_by=Tie.FoundBy.SLATE))
    if _same(known, wanted):
        return False
    recording.ties.filter(found_by=Tie.FoundBy.SLATE).delete()
    Tie.objects.bulk_create(wanted)
    record(
        action="slates.taken-in",
        by=None,
        subject=recording,
        club=recording.station.clinic.club,
        detail={"seen": len(found.seen), "heard": len(found.heard)},
    )
    return True


def _seen_row(recording: Recording, frames: Int64, tie: SeenTie) -> Tie:
    """All ties on frames stand at "first frame at or after": the fit takes half a frame interval
    off, so the instant is what the clock showed half an interval before the picture's time."""
    before = max(tie.frame, 1)
    half_s = ticks_to_media_s(int(frames[before] - frames[before - 1])) / 2
    return Tie(
        recording=recording,
        kind=Tie.Kind.SLATE_SEEN,
        found_by=Tie.FoundBy.SLATE,
        pts_ticks=int(frames[tie.frame]),
        instant=from_epoch_s(tie.instant_ms / 1000 - half_s / recording.slow_motion),
        score=round(tie.score, 3),
        u_ms=round(tie.u_ms, 2),
    )


def _heard_row(recording: Recording, tie: HeardTie) -> Tie:
    """A sound is not bound to a frame: its ticks are its own time."""
    return Tie(
        recording=recording,
        kind=Tie.Kind.SLATE_HEARD,
        found_by=Tie.FoundBy.SLATE,
        pts_ticks=media_s_to_ticks(tie.media_s),
        instant=from_epoch_s(tie.instant_ms / 1000),
        score=round(tie.score, 3),
        u_ms=round(tie.u_ms, 2),
    )


def _same(known: Sequence[Tie], wanted: Sequence[Tie]) -> bool:
    def facts(tie: Tie) -> tuple[str, int, dt.datetime | None, float]:
        return tie.kind, tie.pts_ticks, tie.instant, tie.u_ms

    return sorted(map(facts, known)) == sorted(map(facts, wanted))  # type: ignore[type-var]
