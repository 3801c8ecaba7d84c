"""What is read from a recording once it is here: frame table and sound, which aligning needs.

That takes seconds for an hour and leads to aligning at once. The pictures are looked at by a job
of its own (look_through.py).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from django.conf import settings
from django.utils.translation import gettext as _

from clinics.actions.errors import BadInput
from clinics.actions.keeping import originals_until
from clinics.media.errors import MediaError, Stopped
from clinics.media.facts import FileFacts
from clinics.media.frames import load_frame_table, save_frame_table
from clinics.media.index import TakeIndex, index_take
from clinics.media.motion import MotionProfile, load_motion
from clinics.media.sandbox import Limits
from clinics.media.take import Take
from clinics.models import Recording, SourceFile
from portal.actions import files
from portal.actions.job_runs import JobFailed, JobStopped, published_with_job
from portal.actions.jobs import enqueue
from portal.models import Job, StoredFile

if TYPE_CHECKING:
    from clinics.media.ticks import Int64
    from portal.models import User

INDEX_PRIORITY = 20
LOOK_PRIORITY, LOOK_LAST_PRIORITY = 1004, 100_000
"""Renders come at 1000 and the swim's place in the running order (cut.FIRST_PRIORITY). What moves
in a recording whose clock is not sure says where its clips lie: it is looked through after the
first four swims, since somebody waits for the first views, but before the rest. A recording whose
clock is sure is looked through when all clips are made: its strip is only for looking at."""
Pulse = Callable[..., None]


def limits() -> Limits:
    return Limits(max_size_bytes=settings.UPLOAD_MAX_BYTES)


def take_of(recording: Recording) -> Take:
    """The recording's files as one take. Trying again is no use where it raises BadInput, since an
    original is gone, or MediaError, since it was never read."""
    rows = list(recording.files.select_related("stored").order_by("order"))
    gone = [row for row in rows if row.stored.state != StoredFile.State.READY]
    if gone or not rows:
        raise BadInput([(row.name, _("The original is deleted.")) for row in gone])
    return Take(
        files=tuple(row.stored.local_path() for row in rows),
        facts=tuple(_facts_of(row) for row in rows),
        names=tuple(row.name for row in rows),
    )


def _facts_of(row: SourceFile) -> FileFacts:
    try:
        return FileFacts.from_dict(row.facts)
    except (KeyError, TypeError, ValueError) as problem:
        told = _(
            "What was found out about the file when it came in is missing or incomplete, so no "
            "picture can be taken from it. Bring the file in again from the memory card."
        )
        raise MediaError(f"{row.name}: {told}") from problem


def frames_of(recording: Recording) -> Int64:
    """Times of all pictures of the recording: int64 [frames], ticks of 1/90000 s from 0."""
    if recording.frame_table is None:
        raise BadInput([(_("recording"), _("It is not read yet: wait until it is ready."))])
    return load_frame_table(recording.frame_table.local_path())


def motion_of(recording: Recording) -> MotionProfile | None:
    """How much moves at each key frame; None until the recording is looked through."""
    if recording.motion is None or recording.motion.state != StoredFile.State.READY:
        return None
    return load_motion(recording.motion.local_path())


def fail(recording: Recording, reason: str) -> None:
    Recording.objects.filter(pk=recording.pk).update(state=Recording.State.FAILED, reason=reason)


# --- the index -------------------------------------------------------------------------------


def ask_for_index(recording: Recording, by: User | None) -> None:
    """Unless it is ready. One that failed is tried again: somebody brought it in again."""
    row = Recording.objects.filter(pk=recording.pk)
    row.filter(state=Recording.State.FAILED).update(state=Recording.State.WAITING, reason="")
    if row.exclude(state=Recording.State.READY).exists():
        enqueue(kind="index-recording", subject=recording, asked_by=by, priority=INDEX_PRIORITY)


def index(recording: Recording, pulse: Pulse) -> None:
    """Read which picture is shown when, and the sound; then ask to align, and to look through.

    May run twice: a recording that is ready is left alone.
    """
    open_states = [Recording.State.WAITING, Recording.State.INDEXING]
    mine = Recording.objects.filter(pk=recording.pk, state__in=open_states)
    if mine.update(state=Recording.State.INDEXING) == 0:
        return
    try:
        take = take_of(recording)
        with files.work_dir("index") as folder:
            found = index_take(
                take,
                work_dir=folder,
                limits=limits(),
                require_sandbox=settings.REQUIRE_SANDBOX,
                on_progress=lambda progress: pulse(min(progress, 1.0)),
                should_stop=getattr(pulse, "should_stop", None),
            )
            _publish_index(recording, take, found, folder)
    except Stopped as stop:
        raise JobStopped(getattr(pulse, "why", "") or "cancelled") from stop
    except (MediaError, BadInput) as problem:
        fail(recording, words(problem))
        raise JobFailed(words(problem)) from problem
    from clinics.actions.align import ask_to_align  # aligning leads to cutting, which reads here

    ask_to_align(clinic=recording.station.clinic, by=recording.brought_in_by)
    ask_to_look_through(recording=recording, by=recording.brought_in_by)


def words(problem: MediaError | BadInput) -> str:
    return problem.message if isinstance(problem, MediaError) else str(problem)


def _publish_index(recording: Recording, take: Take, found: TakeIndex, folder: Path) -> None:
    """The files and the row, together; what an earlier index made, or looking through, goes."""
    table = folder / "frames.table"
    save_frame_table(table, found.frame_pts, found.key_frames)
    envelope = None
    if found.envelope is not None:
        envelope = folder / "sound.envelope"
        envelope.write_bytes(found.envelope.tobytes())
    with published_with_job():
        row = Recording.objects.select_for_update().get(pk=recording.pk)
        if row.files.count() != len(take.files):
            return  # another part came in meanwhile; its own index job is waiting
        old = [
            row.frame_table,
            row.sound_envelope,
            row.sound_track,
            row.contact_strip,
            row.motion,
        ]
        row.frame_table = publish(row, table, "frame-table", ".table")
        row.sound_envelope = publish(row, envelope, "sound-envelope", ".u8") if envelope else None
        row.sound_track = _publish_track(row, found.sound_track) if found.sound_track else None
        row.contact_strip, row.contact_layout, row.motion = None, {}, None
        row.notes = list(found.notes)
        row.frame_count = len(found.frame_pts)
        row.duration_s = found.duration_s
        row.nominal_fps = found.picture_fps
        row.width, row.height, row.has_sound = take.width, take.height, take.has_audio
        row.state, row.reason = Recording.State.READY, ""
        row.save()
    remove(old)
    recording.refresh_from_db()


def publish(recording: Recording, path: Path, kind: str, suffix: str) -> StoredFile:
    return files.publish(
        temporary=path,
        area="media",
        kind=kind,
        club=recording.station.clinic.club,
        keeping_rule="recording",
        content_type="image/jpeg" if suffix == ".jpg" else "application/octet-stream",
        suffix=suffix,
    )


def _publish_track(recording: Recording, path: Path) -> StoredFile:
    """The sound holds talk and names as the original does, and goes with it."""
    stored = files.publish(
        temporary=path,
        area="originals",
        kind="sound-track",
        club=recording.station.clinic.club,
        keeping_rule="originals",
        content_type="application/octet-stream",
        suffix=".s16",
    )
    # the rule could not know whose it is before the row says so
    clinic, brought_in_at = recording.station.clinic, recording.brought_in_at
    stored.delete_by = originals_until(clinic, brought_in_at=brought_in_at)
    stored.save(update_fields=["delete_by"])
    return stored


def remove(old: list[StoredFile | None]) -> None:
    for stored in filter(None, old):
        files.remove(file=stored)


def run_index(job: Job, pulse: Pulse) -> None:
    recording = Recording.objects.select_related("station__clinic__club").get(
        pk=str(job.subject_id)
    )
    index(recording, pulse)


def index_failed(job: Job) -> None:
    """The job broke for good; the recording says why."""
    open_states = [Recording.State.WAITING, Recording.State.INDEXING]
    Recording.objects.filter(pk=str(job.subject_id), state__in=open_states).update(
        state=Recording.State.FAILED, reason=job.reason
    )


def ask_to_look_through(*, recording: Recording, by: User | None) -> None:
    enqueue(kind="look-through", subject=recording, asked_by=by, priority=LOOK_LAST_PRIORITY)


def order_looks(*, sure: Iterable[Recording], unsure: Iterable[Recording], by: User | None) -> None:
    """Those whose clock is not sure, and that nobody looked through yet, come before the later
    clips; those whose clock is sure (by now) come last."""
    for recording in unsure:
        if recording.motion_id is None and recording.state == Recording.State.READY:
            enqueue(kind="look-through", subject=recording, asked_by=by, priority=LOOK_PRIORITY)
    waiting = Job.objects.filter(kind="look-through", state=Job.State.WAITING)
    waiting.filter(subject_id__in=[one.pk for one in sure]).update(priority=LOOK_LAST_PRIORITY)
