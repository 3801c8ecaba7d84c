"""Looking through a recording: its key frames, each decoded once for all that wants to see them.

Some minutes for an hour, and so it waits until the first swims' clips are made.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from django.conf import settings

from clinics.actions.align import ask_to_align
from clinics.actions.cut import plan_cuts
from clinics.actions.errors import BadInput
from clinics.actions.index import limits, publish, remove, take_of, words
from clinics.actions.slate import take_in_slates
from clinics.media.errors import MediaError, Stopped
from clinics.media.frames import load_frame_table, load_key_frames
from clinics.media.look import ContactStrip, look_through
from clinics.media.motion import MotionReader, save_motion
from clinics.media.slate import SlateReader
from clinics.models import Clinic, ClockFit, Recording
from portal.actions import files
from portal.actions.job_runs import JobFailed, JobStopped, published_with_job

if TYPE_CHECKING:
    from portal.models import Job

LOOK_SHARE = 0.8  # of the progress shown; the rest is for reading slates closely
Pulse = Callable[..., None]


def run_look_through(job: Job, pulse: Pulse) -> None:
    rows = Recording.objects.select_related("station__clinic__club", "frame_table")
    recording = rows.filter(pk=str(job.subject_id)).first()
    if recording is not None:
        look_through_recording(recording, pulse)


def look_through_recording(recording: Recording, pulse: Pulse) -> None:
    """Decode the key frames once: contact strip, what moves, slates. Then whatever follows.

    May run twice: what is looked through is left alone; that is marked last, by the motion
    profile. The recording stays ready whatever comes of it: it can be cut without.
    """
    if recording.state != Recording.State.READY or recording.motion_id is not None:
        return
    assert recording.frame_table is not None  # a constraint of ready ones: indexed
    motion, slates = MotionReader(), SlateReader()
    try:
        take, table = take_of(recording), recording.frame_table.local_path()
        frames = load_frame_table(table)
        with files.work_dir("look") as folder:
            strip = look_through(
                take,
                frames,
                load_key_frames(table),
                work_dir=folder,
                readers=[motion, slates],
                limits=limits(),
                require_sandbox=settings.REQUIRE_SANDBOX,
                on_progress=lambda progress: pulse(LOOK_SHARE * min(progress, 1.0)),
                should_stop=getattr(pulse, "should_stop", None),
            )
            if not _is_as_it_was(recording):
                return  # read anew meanwhile; another look is asked for
            _take_in_slates(recording, slates, pulse)
            save_motion(folder / "motion.npz", motion.profile(frames))
            is_kept = _publish_looks(recording, strip, folder / "motion.npz")
    except Stopped as stop:
        raise JobStopped(getattr(pulse, "why", "") or "cancelled") from stop
    except (MediaError, BadInput) as problem:
        raise JobFailed(words(problem)) from problem
    if is_kept:
        _go_on(recording)


def _is_as_it_was(recording: Recording) -> bool:
    same = Recording.objects.filter(pk=recording.pk, frame_table_id=recording.frame_table_id)
    return same.exists()


def _take_in_slates(recording: Recording, reader: SlateReader, pulse: Pulse) -> None:
    """Asks to align by itself if it changed a tie."""
    take_in_slates(recording=recording, pulse=_rest_of(pulse), reader=reader)


def _rest_of(pulse: Pulse) -> Pulse:
    """The same pulse, over what is left of the progress."""

    def report(progress: float, *_: float) -> None:
        pulse(LOOK_SHARE + (1 - LOOK_SHARE) * min(progress, 1.0))

    report.should_stop = getattr(pulse, "should_stop", None)  # type: ignore[attr-defined]
    return report


def _publish_looks(recording: Recording, strip: ContactStrip | None, motion: Path) -> bool:
    """Whether they count: not if the recording was read anew meanwhile."""
    with published_with_job():
        row = Recording.objects.select_for_update().get(pk=recording.pk)
        if row.frame_table_id != recording.frame_table_id:
            return False
        old = [row.contact_strip, row.motion]
        row.contact_strip = publish(row, strip.path, "contact-strip", ".jpg") if strip else None
        row.contact_layout = _layout(strip) if strip else {}
        row.motion = publish(row, motion, "motion", ".npz")
        row.save(update_fields=["contact_strip", "contact_layout", "motion"])
    remove(old)
    recording.refresh_from_db()
    return True


def _go_on(recording: Recording) -> None:
    """What moves may place a recording that nothing else has placed; of one that is placed it
    says when a swimmer is in picture, which planning asks."""
    clinic, by = recording.station.clinic, recording.brought_in_by
    fit = ClockFit.objects.filter(recording=recording).first()
    if fit is None or fit.state != ClockFit.State.SURE:
        ask_to_align(clinic=clinic, by=by)
    elif clinic.state != Clinic.State.CLOSED:
        plan_cuts(clinic=clinic, by=by)


def _layout(strip: ContactStrip) -> dict[str, object]:
    return {
        "columns": strip.columns,
        "still_width": strip.still_width,
        "still_height": strip.still_height,
        "frames": list(strip.frames),
    }
