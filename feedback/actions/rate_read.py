"""Stroke rates read from the picture: asking, reading (the job), taking away.

The reading is the coaches' aid. It stands beside the rate counted from marks and never becomes a
measure. It is read from the clip's own files, in which covered areas are covered.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

import numpy as np
from django.conf import settings
from django.db import transaction
from django.utils import timezone, translation
from django.utils.translation import gettext as _
from numpy.typing import NDArray

from clinics.compute.time import TICKS_PER_S
from clinics.media.decode import Pictures
from clinics.media.errors import MediaError, Stopped
from clinics.models import Clip, Swim
from feedback.actions.clip_clocks import ClipFilm, film_of
from feedback.actions.frames import FrameUnknown, frame_at, pts_ticks_of
from feedback.compute.rate_read.film import Box, Grey, film_of_pictures, frames_to_read, small_size
from feedback.compute.rate_read.read import read_rate
from feedback.compute.rate_read.result import Reading
from feedback.models import RateReading
from portal.actions.audit import record
from portal.actions.job_runs import CANCELLED, JobFailed, JobStopped, published_with_job
from portal.actions.jobs import OPEN, cancel, enqueue
from portal.models import Job

if TYPE_CHECKING:
    from portal.models import User

JOB_KIND = "read-rate"
PRIORITY = 45
"""After what somebody waits for to watch, and stills and films."""
MOST_WAITING = 6
DECODING_SHARE = 0.6
"""Of a reading's progress: its pictures. The rest is following and looking."""

Pulse = Callable[..., None]


class TooManyWaiting(Exception):
    """So many of this person's are being read already that one more has to wait."""


@dataclass(frozen=True)
class Span:
    """Which frames of a clip are read, both ends included; `box`: where the swimmer is on
    `box_frame`, as parts of the picture; None: found by what moves."""

    from_frame: int
    to_frame: int
    box: Box | None = None
    box_frame: int | None = None


@transaction.atomic
def ask_rate(*, swim: Swim, by: User, clip: Clip, span: Span, stroke: str) -> RateReading:
    """The row, and the job that reads. Asked for again while it waits, it is the same one.

    Raises FrameUnknown and TooManyWaiting.
    """
    film_of(clip, by)
    locked = Swim.objects.select_for_update(of=("self",)).select_related("entry__clinic__club")
    swim = locked.get(pk=swim.pk)
    told = {
        "swim": swim,
        "recording": clip.recording,
        "clip": clip,
        "from_ticks": pts_ticks_of(clip, span.from_frame),
        "to_ticks": pts_ticks_of(clip, span.to_frame),
        "box": asdict(span.box) if span.box else None,
        "box_ticks": None if span.box_frame is None else pts_ticks_of(clip, span.box_frame),
        "stroke": stroke,
    }
    mine = RateReading.objects.filter(asked_by=by, state=RateReading.State.WAITING)
    row = next((one for one in mine.filter(swim=swim) if _same(one, told)), None)
    if row is None:
        if mine.count() >= MOST_WAITING:
            raise TooManyWaiting
        row = RateReading.objects.create(asked_by=by, **told)
        _note("rate-read.ask", row, by)
    enqueue(kind=JOB_KIND, subject=row, asked_by=by, priority=PRIORITY)
    return row


def _same(row: RateReading, told: dict[str, object]) -> bool:
    return all(getattr(row, name) == value for name, value in told.items())


@transaction.atomic
def remove_rate(*, reading: RateReading, by: User) -> None:
    """Its job and its row. Done twice it is noted once."""
    rows = RateReading.objects.select_for_update(of=("self",)).filter(pk=reading.pk)
    row = rows.select_related("swim__entry__clinic__club").first()
    if row is None:
        return
    for job in Job.objects.filter(kind=JOB_KIND, subject_id=row.pk, state__in=OPEN):
        cancel(job=job, by=by)
    _note("rate-read.remove", row, by)
    row.delete()


def _note(action: str, row: RateReading, by: User) -> None:
    record(
        action=action,
        by=by,
        subject=row,
        club=row.swim.entry.clinic.club,
        detail={"swim": str(row.swim_id)},
    )


# --- the job ----------------------------------------------------------------------------------


def run_read(job: Job, pulse: Pulse) -> None:
    """The job of kind "read-rate"; what is ready is left alone."""
    rows = RateReading.objects.select_related("asked_by", "swim", "clip__recording", "clip__swim")
    row = rows.filter(pk__in=[job.subject_id]).first()
    if row is not None and row.state != RateReading.State.READY:
        language = row.asked_by.language if row.asked_by else settings.LANGUAGE_CODE
        with translation.override(language):
            read(row, pulse)


def read_failed(job: Job) -> None:
    """The job ended for good; the row says why."""
    rows = RateReading.objects.filter(pk__in=[job.subject_id])
    rows.exclude(state=RateReading.State.READY).update(
        state=RateReading.State.FAILED, reason=job.reason
    )


def read(row: RateReading, pulse: Pulse) -> None:
    clip = _need_visible(row)
    RateReading.objects.filter(pk=row.pk).update(state=RateReading.State.WAITING, reason="")
    try:
        assert row.asked_by is not None  # _need_visible asked
        reading = _reading(row, film_of(clip, row.asked_by), pulse)
    except Stopped as stop:
        raise JobStopped(getattr(pulse, "why", "") or CANCELLED) from stop
    except FrameUnknown as problem:
        raise JobFailed(
            _("This view was made again since. Ask for the reading again.")
        ) from problem
    except MediaError as problem:
        raise JobFailed(problem.message) from problem
    with published_with_job():
        waiting = RateReading.objects.select_for_update().filter(pk=row.pk)
        if waiting.exclude(state=RateReading.State.READY).exists():
            _need_visible(row)
            waiting.update(
                state=RateReading.State.READY,
                result=reading.to_json(),
                reason="",
                made_at=timezone.now(),
            )


def _need_visible(row: RateReading) -> Clip:
    """The fence, asked when it begins and again when it writes what it read."""
    by = row.asked_by
    if by is not None and RateReading.objects.visible_to(by).filter(pk=row.pk).exists():
        clips = Clip.objects.visible_to(by).filter(pk__in=[row.clip_id], swim=row.swim_id)
        clip = clips.select_related("swim", "station", "recording__clock_fit").first()
        if clip is not None:
            return clip
    raise JobFailed(_("This view may no longer be shown to you. Nothing was read."))


def _reading(row: RateReading, film: ClipFilm, pulse: Pulse) -> Reading:
    """Pictures one by one, small and grey; nothing else of the film is held."""
    first, last = _frame(film.clip, row.from_ticks), _frame(film.clip, row.to_ticks)
    ticks = film.clock.ticks[first : last + 1]
    times_s = (ticks - ticks[0]) / TICKS_PER_S * film.clock.rate
    kept = frames_to_read(times_s)
    name = str(film.clip.station.name)
    with Pictures(
        film.video(name),
        first,
        last - first + 1,
        small_size(*film.size),
        require_sandbox=settings.REQUIRE_SANDBOX,
    ) as pictures:
        small = film_of_pictures(_grey(pictures, kept, pulse), times_s[kept])
    box_index = 0
    if row.box_ticks is not None:
        at = _frame(film.clip, row.box_ticks) - first
        box_index = int(np.abs(kept - at).argmin())
    box = Box(**row.box) if row.box else None
    rest = 1 - DECODING_SHARE
    return read_rate(
        small,
        row.stroke,
        box,
        box_index,
        on_step=lambda share: pulse(DECODING_SHARE + rest * share),
    )


def _frame(clip: Clip, ticks: int) -> int:
    frame = frame_at(clip, ticks)
    if frame is None:
        raise FrameUnknown(f"clip {clip.pk} has no frame at {ticks}")
    return frame


def _grey(pictures: Pictures, kept: NDArray[np.int64], pulse: Pulse) -> Iterator[Grey]:
    """Of those that are looked at, the brightness alone."""
    width, height = pictures.size
    wanted = set(kept.tolist())
    for n, picture in enumerate(pictures):
        if n in wanted:
            yield picture[: width * height].reshape(height, width)
        pulse(DECODING_SHARE * (n + 1) / pictures.expected)
