"""Making a clip's files: one job per clip, most useful first. What is covered at its station, and
in it, is covered in every file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from django.conf import settings

from clinics.actions.clip_files import is_held
from clinics.actions.clip_sound import with_old_sound
from clinics.actions.clip_source import areas_of, source_of
from clinics.actions.dropped import may_be_made
from clinics.actions.errors import BadInput
from clinics.actions.index import frames_of, limits
from clinics.actions.publish_clip import Made, publish
from clinics.compute.time import TICKS_PER_S, media_s_at, media_s_to_ticks
from clinics.media.errors import MediaError, Stopped
from clinics.media.frames import frames_between
from clinics.media.render import render_clip
from clinics.models import Clip, ClockFit
from clinics.privacy import FILM_AND_REVIEW
from portal.actions import files
from portal.actions.job_runs import CANCELLED, LOST, JobFailed, JobStopped
from portal.models import Job


def run_render(job: Job, pulse: Callable[..., None]) -> None:
    """The job of kind "render-clip"."""
    clip = _with_rows().filter(pk=job.subject_id).first()
    if clip is not None:
        render(clip, pulse)


def render_failed(job: Job) -> None:
    """The job ended for good; the clip says why."""
    Clip.objects.filter(pk__in=[job.subject_id]).exclude(state=Clip.State.READY).update(
        state=Clip.State.FAILED, reason=job.reason
    )


def _with_rows() -> Any:
    return Clip.objects.select_related("recording__station__clinic__club", "swim__entry")


def render(clip: Clip, pulse: Callable[..., None]) -> None:
    """Make the clip's files and publish them together with the row.

    A clip that is ready is left alone, so that running twice changes nothing. One that was
    moved meanwhile is not published: its move asked for the job again. Nor is one that reaches
    into what is dropped by now: the next plan cuts it around that. What is held stays as it is.
    """
    agreed = clip.swim.entry.swimmer.consents.filter(purpose=FILM_AND_REVIEW, ended_at__isnull=True)
    if clip.state == Clip.State.READY or not agreed.exists() or not may_be_made(clip):
        return
    if Clip.objects.filter(is_held(), pk=clip.pk).exists():
        return
    Clip.objects.filter(pk=clip.pk).update(state=Clip.State.RENDERING, reason="")
    try:
        with files.work_dir(f"render-{clip.pk.hex}") as folder:
            publish(clip, _render_into(clip, folder, pulse), folder)
    except Stopped as stop:
        why = getattr(pulse, "why", "") or CANCELLED
        _back_to_waiting(clip, why)
        raise JobStopped(why) from stop
    except JobStopped as stop:
        _back_to_waiting(clip, stop.why)
        raise
    except (MediaError, BadInput) as problem:
        reason = problem.message if isinstance(problem, MediaError) else str(problem)
        raise JobFailed(reason) from problem


def _back_to_waiting(clip: Clip, why: str) -> None:
    if why != LOST:  # then another worker is at it
        Clip.objects.filter(pk=clip.pk, state=Clip.State.RENDERING).update(state=Clip.State.WAITING)


def _render_into(clip: Clip, work_dir: Path, pulse: Callable[..., None]) -> Made:
    source, areas = source_of(clip), areas_of(clip)
    out_dir = work_dir / "out"
    out_dir.mkdir()
    rendered = render_clip(
        source.take,
        source.frame_pts,
        source.begins(clip),
        clip.frame_count,
        renditions=source.sizes,
        out_dir=out_dir,
        work_dir=work_dir,
        limits=limits(),
        key_frames=source.key_frames,
        masks=source.masks(areas),
        poster_frame=_poster_frame(clip),
        on_progress=lambda progress: pulse(progress * 0.98),
        should_stop=getattr(pulse, "should_stop", None),
        require_sandbox=settings.REQUIRE_SANDBOX,
    )
    if source.rendition is not None:
        rendered = with_old_sound(rendered, clip, source, out_dir)
    return Made(rendered, areas)


def _poster_frame(clip: Clip) -> int | None:
    """The middle of the time in which the swimmer is expected in picture; of a start, just
    after it."""
    fit = ClockFit.objects.filter(recording=clip.recording, zero_at__isnull=False).first()
    if fit is None or fit.zero_at is None:
        return None
    start_s = media_s_at(fit.zero_at, fit.rate_ppm, clip.swim.start_at)
    middle_s = (clip.seen_from_s + clip.seen_to_s) / 2
    if clip.seen_from_s < 0:
        middle_s = min(middle_s, 0.6)  # in the air
    ticks = media_s_to_ticks(start_s + middle_s)
    first, _count = frames_between(frames_of(clip.recording), ticks, ticks + 30 * TICKS_PER_S)
    return min(max(first - clip.first_frame, 0), clip.frame_count - 1)
