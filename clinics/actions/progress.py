"""How far the work on a clinic is, and how long it will still take: for the clinic as a whole.

Time left is what is still to be done, at the speed at which the same kind of work was done
here before, shared among the workers. Where nothing was measured yet it is not known, and
said to be so.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.db.models import Count, Min, Q, Sum
from django.utils import timezone

from clinics.actions.clip_files import RENDER_KIND
from clinics.compute.time import ticks_to_media_s
from clinics.models import Clinic, Clip, Recording, SourceFile
from portal.actions.audit import record
from portal.actions.jobs import OPEN, cancel
from portal.models import Heartbeat, Job

if TYPE_CHECKING:
    import uuid

    from portal.models import User

READING_KINDS = ("index-recording", "look-through")
ALIGN_KIND = "align"
MEASURED_JOBS = 20  # the last so many say how fast a kind of work goes
MEASURED_FOR = dt.timedelta(days=7)
WORKER_SEEN = dt.timedelta(seconds=120)
LEAST_PROGRESS = 0.1  # a running job's own speed counts from here on


@dataclass(frozen=True)
class Progress:
    """`seconds_left` is None when nothing is under way or its speed is not known yet;
    `more_to_come`: recordings are still read or aligned, and more clips may follow from them.
    `stopped`: clips are to be made and nobody is asked to make them."""

    clips_done: int
    clips_total: int
    clips_failed: int
    minutes_cut: float
    minutes_total: float
    first_ready_at: dt.datetime | None
    reading: int
    looking: int
    aligning: bool
    making: int
    stopped: bool
    seconds_left: float | None

    @property
    def more_to_come(self) -> bool:
        return self.reading > 0 or self.aligning

    @property
    def busy(self) -> bool:
        return self.more_to_come or self.making > 0 or self.looking > 0


def progress_of(clinic: Clinic) -> Progress:
    clips = Clip.objects.filter(swim__entry__clinic=clinic)
    ready, failed = Q(state=Clip.State.READY), Q(state=Clip.State.FAILED)
    told = clips.aggregate(
        done=Count("pk", filter=ready),
        total=Count("pk"),
        failed=Count("pk", filter=failed),
        first=Min("rendered_at", filter=ready),
        done_out=Sum("out_ticks", filter=ready),
        done_in=Sum("in_ticks", filter=ready),
        all_out=Sum("out_ticks"),
        all_in=Sum("in_ticks"),
    )
    jobs = _open_jobs(clinic)
    counts = {kind: sum(job.kind == kind for job in jobs) for kind in (*READING_KINDS, RENDER_KIND)}
    waiting = told["total"] - told["done"] - told["failed"]
    return Progress(
        clips_done=told["done"],
        clips_total=told["total"],
        clips_failed=told["failed"],
        minutes_cut=_minutes(told["done_in"], told["done_out"]),
        minutes_total=_minutes(told["all_in"], told["all_out"]),
        first_ready_at=told["first"],
        reading=counts["index-recording"],
        looking=counts["look-through"],
        aligning=any(job.kind == ALIGN_KIND for job in jobs),
        making=counts[RENDER_KIND],
        stopped=waiting > 0 and counts[RENDER_KIND] == 0,
        seconds_left=_seconds_left(jobs),
    )


def _minutes(in_ticks: int | None, out_ticks: int | None) -> float:
    return round(ticks_to_media_s((out_ticks or 0) - (in_ticks or 0)) / 60, 2)


def _open_jobs(clinic: Clinic) -> list[Job]:
    """All open work on the clinic, whatever it is about."""
    recordings = Recording.objects.filter(station__clinic=clinic).values("pk")
    clips = Clip.objects.filter(swim__entry__clinic=clinic).values("pk")
    about = (
        Q(kind=ALIGN_KIND, subject_id=clinic.pk)
        | Q(kind__in=READING_KINDS, subject_id__in=recordings)
        | Q(kind=RENDER_KIND, subject_id__in=clips)
    )
    return list(Job.objects.filter(about, state__in=OPEN))


# --- time left ---------------------------------------------------------------------------------


def _seconds_left(mine: Sequence[Job]) -> float | None:
    """Until the last of these jobs is done; the work of others that comes before it counts."""
    slow = [job for job in mine if job.queue == "render"]
    if not slow:
        return None
    last = max(job.priority for job in slow)
    others = Job.objects.filter(queue="render", state__in=OPEN, priority__lte=last)
    jobs = {job.pk: job for job in [*others, *slow]}
    sizes = _sizes(jobs.values())
    speeds = {kind: _speed(kind) for kind in {job.kind for job in jobs.values()}}
    left = [_job_left_s(job, sizes.get(job.pk), speeds[job.kind]) for job in jobs.values()]
    known = [seconds for seconds in left if seconds is not None]
    if len(known) < len(left):
        return None
    return max(sum(known) / _workers(), max(known))


def _job_left_s(job: Job, size: float | None, speed: float | None) -> float | None:
    """`speed`: seconds for each unit of size (seconds of a clip, bytes of a recording)."""
    if job.state == Job.State.RUNNING and job.progress >= LEAST_PROGRESS and job.started_at:
        ran_s = (timezone.now() - job.started_at).total_seconds()
        return ran_s * (1 - job.progress) / job.progress
    return None if size is None or speed is None else size * speed


def _sizes(jobs: Iterable[Job]) -> dict[uuid.UUID, float]:
    """How much each job has to do: seconds of a clip, bytes of a recording."""
    by_subject: dict[Any, list[Job]] = {}
    for job in jobs:
        by_subject.setdefault(job.subject_id, []).append(job)
    clips = Clip.objects.filter(pk__in=by_subject).values_list("pk", "in_ticks", "out_ticks")
    sizes: dict[Any, float] = {pk: ticks_to_media_s(out - in_) for pk, in_, out in clips}
    sources = SourceFile.objects.filter(recording__in=by_subject).order_by()
    rows = sources.values_list("recording").annotate(Sum("size_bytes"))
    sizes |= {pk: float(total) for pk, total in rows}
    return {job.pk: sizes[pk] for pk, group in by_subject.items() if pk in sizes for job in group}


def _speed(kind: str) -> float | None:
    """Seconds for each unit of size, of the last jobs of this kind that were done here."""
    done = Job.objects.filter(
        kind=kind,
        state=Job.State.DONE,
        started_at__isnull=False,
        finished_at__gte=timezone.now() - MEASURED_FOR,
    )
    jobs = list(done.order_by("-finished_at")[:MEASURED_JOBS])
    sizes = _sizes(jobs)
    took_s = {
        job.pk: (job.finished_at - job.started_at).total_seconds()
        for job in jobs
        if job.pk in sizes and job.finished_at and job.started_at
    }
    total = sum(sizes[pk] for pk in took_s)
    return sum(took_s.values()) / total if total > 0 else None


def _workers() -> int:
    """How many work side by side: whoever was seen lately, and at least one."""
    seen = Heartbeat.objects.filter(queue="render", seen_at__gte=timezone.now() - WORKER_SEEN)
    running = Job.objects.filter(queue="render", state=Job.State.RUNNING).exclude(owner="")
    return max(1, seen.count(), running.values("owner").distinct().count())


# --- stopping ------------------------------------------------------------------------------------


@transaction.atomic
def stop_making(*, clinic: Clinic, by: User | None) -> int:
    """Make no more clips of the clinic for now; how many were still to be made. What is made
    stays, and the next plan of the cuts goes on with the rest."""
    jobs = [job for job in _open_jobs(clinic) if job.kind == RENDER_KIND]
    for job in jobs:
        cancel(job=job, by=by)
    if jobs:
        record(
            action="cuts.stopped",
            by=by,
            subject=clinic,
            club=clinic.club,
            detail={"clips": len(jobs)},
        )
    return len(jobs)
