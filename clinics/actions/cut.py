"""Cutting: which spans of which recordings become clips, and making their files.

Planning is cheap and may run as often as somebody likes: it moves clips whose window moved,
adds and removes what the fits now say, and leaves alone what is the same, what a person
placed, and what is on its way. Rendering is a job per clip.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from clinics.actions.bring_in import frames_of, take_of
from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.actions.keeping import CLIPS, clips_delete_by
from clinics.compute.clockfit import FILE_DATE
from clinics.compute.time import (
    TICKS_PER_S,
    media_s_at,
    media_s_to_ticks,
    seconds_between,
    swim_s_to_media_s,
)
from clinics.compute.windows import Window, clip_to, windows_for
from clinics.media.errors import MediaError, Stopped
from clinics.media.frames import frames_between, load_key_frames, save_frame_table
from clinics.media.render import RenderedClip, RenderedFile, default_renditions, render_clip
from clinics.media.sandbox import Limits
from clinics.models import Clinic, Clip, ClipFile, ClockFit, Consent, Recording, Station, Swim
from clinics.privacy import FILM_AND_REVIEW
from portal.actions import files
from portal.actions.audit import record
from portal.actions.jobs import (
    CANCELLED,
    LOST,
    OPEN,
    JobFailed,
    JobStopped,
    cancel,
    enqueue,
    published_with_job,
)
from portal.models import Job

if TYPE_CHECKING:
    from clinics.media.ticks import Int64
    from portal.models import StoredFile, User

RENDER_KIND = "render-clip"
FIRST_PRIORITY = 1000  # after whatever else is asked for; the first swimmer's views come first
OPEN_NOW_PRIORITY = 30  # somebody looks at the swim
SAME_S = 0.05  # a window that moved by less is the same: it does not begin on an event
CONTENT_TYPES = {
    "video": "video/mp4",
    "sound": "audio/mp4",
    "poster": "image/jpeg",
    "strip": "image/jpeg",
}


@dataclass(frozen=True)
class CutPlan:
    """How many clips were added, moved, removed or left as they were."""

    added: int
    moved: int
    removed: int
    unchanged: int
    waiting: int


@dataclass(frozen=True)
class _Cut:
    """A clip as it should be."""

    swim: Swim
    station: Station
    recording: Recording
    window: Window
    in_ticks: int
    out_ticks: int
    first_frame: int
    frame_count: int
    time_state: str
    covers_s: float


# --- planning ----------------------------------------------------------------------------------


@transaction.atomic
def plan_cuts(
    *,
    clinic: Clinic,
    by: User | None = None,
    coarse_too: bool = False,
    failed_again: bool = False,
) -> CutPlan:
    """Bring the clinic's clips in line with swims, fits and windows; ask for the renders.

    Swims of whoever has not agreed to be filmed get no clip: what waits to be made of them
    is cancelled. If several recordings of a station hold a window, the clip is cut from the
    one that holds most of it. Clips that failed are tried again only if `failed_again`.

    Recordings that only their file's date places are cut only if `coarse_too`, when a person
    asks for it: a camera's date can be a swimmer off, and the next tie would make every clip
    of it again. Clips that were cut from them then stay.
    """
    clinic = Clinic.objects.select_for_update().select_related("club").get(pk=clinic.pk)
    if clinic.state == Clinic.State.CLOSED:
        raise BadInput([("", _("This clinic is closed; its clips stay as they are."))])
    swims = list(
        Swim.objects.filter(entry__clinic=clinic)
        .select_related("entry", "entry__clinic")
        .order_by("start_at")
    )
    agreed = set(
        Consent.objects.filter(
            swimmer__club=clinic.club_id, purpose=FILM_AND_REVIEW, ended_at__isnull=True
        ).values_list("swimmer_id", flat=True)
    )
    filmed = [swim for swim in swims if swim.entry.swimmer_id in agreed]
    wanted = {
        (c.swim.pk, c.station.pk, c.window.pass_no): c for c in _cuts(clinic, filmed, coarse_too)
    }
    rank = {swim.pk: number for number, swim in enumerate(swims)}
    existing = _existing(clinic)
    added = moved = removed = unchanged = 0
    for key, clip in existing.items():
        if key in wanted or (not coarse_too and _is_coarse(clip.recording)):
            continue
        removed += _leave_out(clip, has_agreed=clip.swim.entry.swimmer_id in agreed, by=by)
    for key, cut in wanted.items():
        known = existing.get(key)
        if known is None:
            _ask_to_render(_create(cut), rank[cut.swim.pk], by)
            added += 1
        elif _is_same(known, cut):
            _refresh(known, cut)
            if known.state == Clip.State.FAILED and failed_again:
                Clip.objects.filter(pk=known.pk).update(state=Clip.State.WAITING, reason="")
                known.state = Clip.State.WAITING
            if known.state in (Clip.State.WAITING, Clip.State.RENDERING):
                _ask_to_render(known, rank[cut.swim.pk], by)
            unchanged += 1
        else:
            _ask_to_render(_move(known, cut), rank[cut.swim.pk], by)
            moved += 1
    waiting = Clip.objects.filter(swim__entry__clinic=clinic).exclude(state="ready").count()
    plan = CutPlan(added, moved, removed, unchanged, waiting)
    if added or moved or removed:
        record(
            action="cuts.planned",
            by=by,
            subject=clinic,
            club=clinic.club,
            detail={"added": added, "moved": moved, "removed": removed},
        )
    return plan


def _existing(clinic: Clinic) -> dict[tuple[Any, Any, int], Clip]:
    """Clips by swim, station and pass; of several (other recordings) the newest."""
    clips = Clip.objects.filter(swim__entry__clinic=clinic).select_related(
        "swim__entry", "recording"
    )
    return {
        (clip.swim_id, clip.station_id, clip.pass_no): clip for clip in clips.order_by("created_at")
    }


def _is_coarse(recording: Recording) -> bool:
    fit = ClockFit.objects.filter(recording=recording).first()
    return fit is not None and fit.method == FILE_DATE


def _cuts(clinic: Clinic, swims: list[Swim], coarse_too: bool) -> list[_Cut]:
    """Every clip that should be, by swim, then by station and pass."""
    fits = (
        ClockFit.objects.filter(
            recording__station__clinic=clinic, recording__state=Recording.State.READY
        )
        .exclude(state=ClockFit.State.NOT_FOUND)
        .select_related("recording__station", "recording__frame_table")
    )
    if not coarse_too:
        fits = fits.exclude(method=FILE_DATE)
    by_station: dict[Any, list[ClockFit]] = defaultdict(list)
    for fit in fits:
        by_station[fit.recording.station_id].append(fit)
    tables = {fit.recording_id: frames_of(fit.recording) for fit in fits}
    cuts = []
    for swim in swims:
        for station in clinic.stations.all():
            best: dict[int, _Cut] = {}
            for fit in by_station[station.pk]:
                for cut in _cuts_from(swim, station, fit, tables[fit.recording_id]):
                    known = best.get(cut.window.pass_no)
                    if known is None or cut.covers_s > known.covers_s:
                        best[cut.window.pass_no] = cut
            cuts += [best[pass_no] for pass_no in sorted(best)]
    return cuts


def _cuts_from(swim: Swim, station: Station, fit: ClockFit, frames: Int64) -> list[_Cut]:
    assert fit.zero_at is not None
    recording, clinic = fit.recording, swim.entry.clinic
    end_s = (recording.duration_s or 0.0) * (1 + fit.rate_ppm * 1e-6)
    begins_s = -seconds_between(fit.zero_at, swim.start_at)
    cuts = []
    for window in windows_for(
        kind=station.kind,
        x_m=station.x_m,
        given=station.windows,
        course_m=clinic.course_m,
        distance_m=clinic.distance_m,
        pace_s_per_100m=swim.entry.pace_s_per_100m,
        u_s=((fit.u_ms or 0.0) ** 2 + swim.start_u_ms**2) ** 0.5 / 1000,
    ):
        held = clip_to(window, begins_s, begins_s + end_s)
        if held is None:
            continue
        in_ticks, out_ticks = (
            media_s_to_ticks(swim_s_to_media_s(fit.zero_at, fit.rate_ppm, swim.start_at, at_s))
            for at_s in (held.in_s, held.out_s)
        )
        first, count = frames_between(frames, in_ticks, out_ticks)
        if count > 0:
            covers_s = held.seen_to_s - held.seen_from_s + (held.out_s - held.in_s) / 1000
            cuts.append(
                _Cut(
                    swim,
                    station,
                    recording,
                    held,
                    in_ticks,
                    out_ticks,
                    first,
                    count,
                    fit.state,
                    covers_s,
                )
            )
    return cuts


def _is_same(clip: Clip, cut: _Cut) -> bool:
    """Nothing to make again: placed by a person, or cut from there already but for a hair."""
    if clip.window_by == "person":
        return True
    near_ticks = SAME_S * TICKS_PER_S
    return (
        clip.recording_id == cut.recording.pk
        and abs(clip.in_ticks - cut.in_ticks) <= near_ticks
        and abs(clip.out_ticks - cut.out_ticks) <= near_ticks
    )


def _values(cut: _Cut) -> dict[str, Any]:
    return {
        "recording": cut.recording,
        "in_ticks": cut.in_ticks,
        "out_ticks": cut.out_ticks,
        "first_frame": cut.first_frame,
        "frame_count": cut.frame_count,
        "seen_from_s": round(cut.window.seen_from_s, 3),
        "seen_to_s": round(cut.window.seen_to_s, 3),
        "time_state": cut.time_state,
        "window_by": cut.window.by,
    }


def _create(cut: _Cut) -> Clip:
    return Clip.objects.create(
        swim=cut.swim,
        station=cut.station,
        pass_no=cut.window.pass_no,
        delete_by=clips_delete_by(cut.swim.entry.clinic, cut_at=timezone.now()),
        **_values(cut),
    )


def _move(clip: Clip, cut: _Cut) -> Clip:
    """The clip's files stay until the new ones are there; the fence hides them meanwhile."""
    Clip.objects.filter(pk=clip.pk).update(**_values(cut), state=Clip.State.WAITING, reason="")
    clip.refresh_from_db()
    return clip


def _refresh(clip: Clip, cut: _Cut) -> None:
    """What is derived, without new files."""
    fresh: dict[str, Any] = {"time_state": cut.time_state}
    if clip.window_by != "person":
        fresh["seen_from_s"] = round(cut.window.seen_from_s, 3)
        fresh["seen_to_s"] = round(cut.window.seen_to_s, 3)
    if any(getattr(clip, name) != value for name, value in fresh.items()):
        Clip.objects.filter(pk=clip.pk).update(**fresh)


def _leave_out(clip: Clip, *, has_agreed: bool, by: User | None) -> int:
    """A clip that no longer should be goes with its files; 1 if it went.

    Placed by a person: it stays. Its recording is just being read anew: it stays. Made while
    its swimmer agreed: it stays until it is deleted as that person wants; only what is still
    to be made is dropped.
    """
    if clip.window_by == "person" or clip.recording.state != Recording.State.READY:
        return 0
    if not has_agreed and clip.files.exists():
        _cancel_render(clip, by)
        return 0
    remove_clip(clip=clip, by=by)
    return 1


@transaction.atomic
def remove_clip(*, clip: Clip, by: User | None) -> None:
    """Take a clip away: its job, its rows, then its files."""
    _cancel_render(clip, by)
    stored = _stored_of(clip.files.select_related("stored", "pts_table"))
    clip.delete()
    _remove_on_commit(stored, by)


def _cancel_render(clip: Clip, by: User | None) -> None:
    for job in Job.objects.filter(kind=RENDER_KIND, subject_id=clip.pk, state__in=OPEN):
        cancel(job=job, by=by)


def _stored_of(rows: Iterable[ClipFile]) -> list[StoredFile]:
    both = [stored for row in rows for stored in (row.stored, row.pts_table) if stored is not None]
    return list({stored.pk: stored for stored in both}.values())


def _remove_on_commit(stored: list[StoredFile], by: User | None) -> None:
    """Files go only when nothing points to them any more; the sweep finds what a crash leaves."""

    def remove() -> None:
        for file in stored:
            files.remove(file=file, by=by)

    if stored:
        transaction.on_commit(remove)


def _ask_to_render(clip: Clip, rank: int, by: User | None) -> None:
    enqueue(kind=RENDER_KIND, subject=clip, asked_by=by, priority=FIRST_PRIORITY + rank)


def open_now(*, clip: Clip) -> None:
    """Somebody looks at this clip: it is made before the others."""
    if clip.state in (Clip.State.WAITING, Clip.State.RENDERING):
        enqueue(kind=RENDER_KIND, subject=clip, priority=OPEN_NOW_PRIORITY)


def make_again(*, clip: Clip, by: User | None) -> None:
    """Try a failed clip again."""
    Clip.objects.filter(pk=clip.pk, state=Clip.State.FAILED).update(state="waiting", reason="")
    enqueue(kind=RENDER_KIND, subject=clip, asked_by=by, priority=OPEN_NOW_PRIORITY)


# --- rendering ---------------------------------------------------------------------------------


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
    moved meanwhile is not published: its move asked for the job again.
    """
    agreed = clip.swim.entry.swimmer.consents.filter(purpose=FILM_AND_REVIEW, ended_at__isnull=True)
    if clip.state == Clip.State.READY or not agreed.exists():
        return
    Clip.objects.filter(pk=clip.pk).update(state=Clip.State.RENDERING, reason="")
    try:
        with files.work_dir("render") as folder:
            out_dir = folder / "out"
            out_dir.mkdir()
            made = _render_into(clip, out_dir, folder, pulse)
            _publish(clip, made, folder)
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


def _render_into(
    clip: Clip, out_dir: Path, work_dir: Path, pulse: Callable[..., None]
) -> RenderedClip:
    recording = clip.recording
    take = take_of(recording)
    table = recording.frame_table
    return render_clip(
        take,
        frames_of(recording),
        clip.first_frame,
        clip.frame_count,
        renditions=default_renditions(take.height),
        out_dir=out_dir,
        work_dir=work_dir,
        limits=Limits(max_size_bytes=settings.UPLOAD_MAX_BYTES),
        key_frames=load_key_frames(table.local_path()) if table else None,
        poster_frame=_poster_frame(clip),
        on_progress=lambda progress: pulse(progress * 0.98),
        should_stop=getattr(pulse, "should_stop", None),
        require_sandbox=settings.REQUIRE_SANDBOX,
    )


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


def _publish(clip: Clip, made: RenderedClip, folder: Path) -> None:
    """Files and row together, unless the clip was moved or taken away since."""
    club = clip.recording.station.clinic.club
    with published_with_job():
        same = Clip.objects.select_for_update().filter(
            pk=clip.pk,
            recording_id=clip.recording_id,
            first_frame=clip.first_frame,
            frame_count=clip.frame_count,
        )
        row = same.first()
        if row is None or row.state == Clip.State.READY:
            return
        old = _stored_of(row.files.select_related("stored", "pts_table"))
        row.files.all().delete()
        table = _publish_table(made, folder, club, row)
        for file in made.files:
            stored = _store(
                file.path,
                file.kind,
                CONTENT_TYPES[file.kind],
                club,
                row,
                sha256=file.sha256,
                size_bytes=file.size_bytes,
            )
            ClipFile.objects.create(
                clip=row,
                kind=file.kind,
                height=file.height,
                width=file.width,
                stored=stored,
                pts_table=table if file.kind == "video" else None,
                starts_at_ticks=media_s_to_ticks(made.sound_offset_s or 0.0)
                if file.kind == "sound"
                else 0,
            )
        row.state, row.reason, row.rendered_at = Clip.State.READY, "", timezone.now()
        row.save(update_fields=["state", "reason", "rendered_at"])
        _remove_on_commit(old, None)


def _publish_table(made: RenderedClip, folder: Path, club: Any, clip: Clip) -> StoredFile:
    """Frame times and key frames: the same for every rendition, since one decode made all."""
    video: RenderedFile = made.of_kind("video")[0]
    assert video.frame_pts is not None
    path = folder / "pts.table"
    save_frame_table(path, video.frame_pts - video.frame_pts[0], video.key_frames)
    return _store(path, "pts-table", "application/octet-stream", club, clip)


def _store(
    path: Path, kind: str, content_type: str, club: Any, clip: Clip, **known: Any
) -> StoredFile:
    stored = files.publish(
        temporary=path,
        area="media",
        kind=kind,
        club=club,
        keeping_rule=CLIPS,
        content_type=content_type,
        suffix=path.suffix,
        **known,
    )
    if clip.delete_by is not None:  # the row that says whose it is comes after the file
        stored.delete_by = clip.delete_by
        stored.save(update_fields=["delete_by"])
    return stored
