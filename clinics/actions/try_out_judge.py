"""Judging one file of a try-out: a job of a minute. What it finds is rows; what it shows is
stills; nothing becomes a recording, and nothing is aligned or cut."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import numpy as np
from django.conf import settings
from django.utils import timezone

from clinics.actions.camera_recordings import OLDEST_BELIEVABLE
from clinics.actions.try_out import MAX_BYTES, RULE, date_with
from clinics.compute.slate import clinic_code_of, parse_code
from clinics.compute.slate_ties import Reading, SeenTie, seen_tie, showings
from clinics.compute.time import ticks_to_media_s, to_epoch_s
from clinics.compute.try_out import Filmed, Measured, Slate, judge
from clinics.compute.try_out_picture import focus_of, light_of, stands_still
from clinics.compute.try_out_sound import HeardTwice, heard_twice
from clinics.media.errors import MediaError, Stopped
from clinics.media.sandbox import Limits
from clinics.media.slate import SlateReader, read_closely
from clinics.media.try_out import TRACK_RATE_HZ, Looked, Still, look_at
from clinics.models import TryOut, TryOutFile, TryOutStill
from portal.actions import files
from portal.actions.job_runs import JobStopped, published_with_job
from portal.models import Job, StoredFile

LONGEST_S = 600.0
AROUND_SLATE_S, LONGEST_SLATE_S, MOST_SLATES = 1.0, 5.0, 6
Pulse = Callable[..., None]


def limits() -> Limits:
    """Short files only: whoever waits for this stands at the pool."""
    most = min(MAX_BYTES, settings.UPLOAD_MAX_BYTES)
    return Limits(max_size_bytes=most, max_duration_s=LONGEST_S, wall_s=600.0, cpu_s=1800)


def run_judge(job: Job, pulse: Pulse) -> None:
    rows = TryOutFile.objects.select_related("try_out__clinic__club", "station", "stored")
    file = rows.filter(pk=str(job.subject_id)).first()
    if file is not None:
        judge_file(file, pulse)


def judge_file(file: TryOutFile, pulse: Pulse) -> None:
    """May run twice: what is judged, or gone, is left alone."""
    stored = file.stored
    if file.state != TryOutFile.State.WAITING or stored is None:
        return
    if stored.state != StoredFile.State.READY or file.try_out.gone_at is not None:
        return
    try:
        with files.work_dir(f"try-out-{file.pk}") as folder:
            _judge_in(file, stored.local_path(), folder, pulse)
    except Stopped as stop:
        raise JobStopped(getattr(pulse, "why", "") or "cancelled") from stop
    except MediaError as problem:
        _failed(file, problem.message)


def _failed(file: TryOutFile, reason: str) -> None:
    """That a file cannot be used is a finding like others: no job has failed."""
    waiting = TryOutFile.objects.filter(pk=file.pk, state=TryOutFile.State.WAITING)
    waiting.update(state=TryOutFile.State.FAILED, reason=reason, judged_at=timezone.now())


def judging_failed(job: Job) -> None:
    """The job broke for good; the file says why."""
    waiting = TryOutFile.objects.filter(
        pk=str(job.subject_id), state=TryOutFile.State.WAITING, try_out__gone_at__isnull=True
    )
    waiting.update(state=TryOutFile.State.FAILED, reason=job.reason, judged_at=timezone.now())


def _judge_in(file: TryOutFile, path: Path, folder: Path, pulse: Pulse) -> None:
    slates = SlateReader()
    looked = look_at(
        path,
        shown_name=file.name,
        work_dir=folder,
        limits=limits(),
        readers=[slates],
        require_sandbox=settings.REQUIRE_SANDBOX,
        should_stop=getattr(pulse, "should_stop", None),
        on_progress=lambda done: pulse(0.8 * done),
    )
    taps_s = _taps_s(file.try_out)
    measured = Measured(
        filmed=_filmed(looked),
        focus=focus_of(looked.pictures),
        light=light_of(looked.pictures),
        steady=stands_still(looked.pictures),
        has_sound=looked.samples is not None,
        heard=_heard(looked, taps_s),
        taps_s=taps_s,
        slate=_slate(file, looked, slates, folder),
        date_s=_date_s(file, looked),
    )
    station = file.station
    found = judge(measured, hears_start=station.hears_start, fixed_mount=station.fixed_mount)
    pulse(0.95)
    _publish(file, looked, [one.to_json() for one in found], taps_s)


def _taps_s(row: TryOut) -> tuple[float, float] | None:
    if row.first_start_at is None or row.second_start_at is None:
        return None
    return to_epoch_s(row.first_start_at), to_epoch_s(row.second_start_at)


def _filmed(looked: Looked) -> Filmed:
    facts = looked.facts
    return Filmed(
        width=facts.width,
        height=facts.height,
        codec=facts.video_codec,
        pictures_per_s=looked.index.picture_fps,
        interlaced=facts.is_interlaced,
        duration_s=looked.index.duration_s,
    )


def _heard(looked: Looked, taps_s: tuple[float, float] | None) -> HeardTwice | None:
    if looked.samples is None or taps_s is None:
        return None
    return heard_twice(looked.samples, TRACK_RATE_HZ, taps_s[1] - taps_s[0])


def _date_s(file: TryOutFile, looked: Looked) -> float | None:
    """As the camera wrote it into the file; a form says nothing of when a file was changed."""
    try:
        said = dt.datetime.fromisoformat((looked.facts.created_at or "").replace("Z", "+00:00"))
    except ValueError:
        return None
    said = said if said.tzinfo else said.replace(tzinfo=file.try_out.clinic.zone)
    return to_epoch_s(said) if said > OLDEST_BELIEVABLE else None


def _slate(file: TryOutFile, looked: Looked, seen: SlateReader, folder: Path) -> Slate | None:
    """The best showing of this clinic's slate, read closely around key frames that show one."""
    index, own = looked.index, clinic_code_of(file.try_out.clinic_id)
    best: SeenTie | None = None
    for first, count in _spans(looked, seen.frames):
        found = read_closely(
            looked.take,
            index.frame_pts,
            first,
            count,
            parse=parse_code,
            work_dir=folder,
            limits=limits(),
            key_frames=index.key_frames,
            require_sandbox=settings.REQUIRE_SANDBOX,
        )
        readings = [
            Reading(number, _media_s(looked, number), code)
            for number, code in found
            if code.clinic == own
        ]
        for showing in showings(readings):
            tie = seen_tie(showing, lambda number: _media_s(looked, number), slow_motion=1.0)
            if isinstance(tie, SeenTie) and (best is None or tie.u_ms < best.u_ms):
                best = tie
    return None if best is None else Slate(best.zero_ms / 1000, best.u_ms / 1000)


def _spans(looked: Looked, frames: list[int]) -> list[tuple[int, int]]:
    """First picture and number of pictures around each key frame, joined where they meet, and of
    a phone left in the picture the beginning."""
    joined: list[tuple[float, float]] = []
    for number in frames:
        at_s = _media_s(looked, number)
        begin_s, end_s = max(at_s - AROUND_SLATE_S, 0.0), at_s + AROUND_SLATE_S
        if joined and begin_s <= joined[-1][1]:
            begin_s = joined.pop()[0]
        joined.append((begin_s, end_s))
    spans = []
    for begin_s, end_s in joined[:MOST_SLATES]:
        ends = 90_000 * np.array([begin_s, min(end_s, begin_s + LONGEST_SLATE_S)])
        first, end = (int(place) for place in np.searchsorted(looked.index.frame_pts, ends))
        spans.append((first, max(end - first, 1)))
    return spans


def _media_s(looked: Looked, number: int) -> float:
    """Also of the picture after the last."""
    pts = looked.index.frame_pts
    if number < len(pts):
        return ticks_to_media_s(int(pts[number]))
    return 2 * _media_s(looked, len(pts) - 1) - _media_s(looked, len(pts) - 2)


def _publish(
    file: TryOutFile,
    looked: Looked,
    findings: list[dict[str, object]],
    taps_s: tuple[float, float] | None,
) -> None:
    """Unless it went meanwhile, or the starts were tapped anew: then it is judged again."""
    with published_with_job():
        row = TryOut.objects.select_for_update().filter(pk=file.try_out_id).first()
        there = TryOutFile.objects.select_for_update().filter(
            pk=file.pk, state=TryOutFile.State.WAITING, stored__isnull=False
        )
        found = there.first()
        if row is None or row.gone_at is not None or found is None or _taps_s(row) != taps_s:
            return
        old = [one.stored for one in found.stills.select_related("stored")]
        found.stills.all().delete()
        for still in looked.stills:
            TryOutStill.objects.create(file=found, at_s=still.at_s, stored=_stored(row, still))
        found.state, found.judged_at, found.reason = (
            TryOutFile.State.JUDGED,
            timezone.now(),
            "",
        )
        found.findings, found.facts = findings, _kept(looked)
        found.save(update_fields=["state", "judged_at", "reason", "findings", "facts"])
    for stored in old:
        files.remove(file=stored)


def _kept(looked: Looked) -> dict[str, object]:
    """Nothing that tells where or with whose device it was filmed."""
    facts = looked.facts.to_dict()
    return {key: facts[key] for key in ("container", "video_codec", "audio_codec", "size_bytes")}


def _stored(row: TryOut, still: Still) -> StoredFile:
    stored = files.publish(
        temporary=still.path,
        area=StoredFile.Area.MEDIA,
        kind="try-out-still",
        club=row.clinic.club,
        keeping_rule=RULE,
        content_type="image/jpeg",
        suffix=".jpg",
    )
    date_with(row, stored)
    return stored
