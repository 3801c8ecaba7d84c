"""Clips that a person placed: a better fit moves none of their frames.

What follows from the fit is told anew: how sure the time is, and when the swimmer is in
picture as far as that still lies within the clip. Only what is dropped outranks a person.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from clinics.actions.clip_files import OPEN_NOW_PRIORITY, RENDER_KIND, remove_clip
from clinics.actions.dropped import Spans, clip_spans_on, drops_of, reaches_into
from clinics.actions.index import frames_of
from clinics.compute.time import clinic_instant, swim_s, ticks_to_media_s
from clinics.compute.windows import free_parts
from clinics.media.frames import frames_between
from clinics.models import Clinic, Clip, ClockFit
from portal.actions.jobs import enqueue

if TYPE_CHECKING:
    from portal.models import User


def keep_placed_clear(placed: Sequence[Clip], clinic: Clinic, by: User | None) -> tuple[int, int]:
    """Cut what people placed around what is dropped; how many were cut so, how many went.

    Comments stay on their frames, and are read without a picture where that is dropped.
    """
    drops = drops_of(clinic) if placed else []
    trimmed = gone = 0
    for clip in placed:
        spans = clip_spans_on(clip.recording, drops)
        if not reaches_into(clip, spans):
            pass
        elif _trim(clip, spans):
            enqueue(kind=RENDER_KIND, subject=clip, asked_by=by, priority=OPEN_NOW_PRIORITY)
            trimmed += 1
        else:
            remove_clip(clip=clip, by=by)
            gone += 1
            continue
        _tell_anew(clip)
    return trimmed, gone


def _trim(clip: Clip, spans: Spans) -> bool:
    """The longest part of the clip that nothing dropped lies in; False: there is none."""
    parts = free_parts(clip.in_ticks, clip.out_ticks, spans)
    in_ticks, out_ticks = map(int, max(parts, key=_length, default=(0, 0)))
    first, count = frames_between(frames_of(clip.recording), in_ticks, out_ticks)
    if count == 0:
        return False
    _save(
        clip,
        in_ticks=in_ticks,
        out_ticks=out_ticks,
        first_frame=first,
        frame_count=count,
        missing_by=Clip.MissingBy.DROPPED,
        state=Clip.State.WAITING,
        reason="",
    )
    return True


def _length(part: tuple[float, float]) -> float:
    return part[1] - part[0]


def _tell_anew(clip: Clip) -> None:
    """Its time's state, and the span in picture within the clip's own ends."""
    fit: ClockFit | None = getattr(clip.recording, "clock_fit", None)
    if fit is None or fit.zero_at is None:
        _save(clip, time_state=ClockFit.State.NOT_FOUND)
        return
    begin_s, end_s = (
        swim_s(
            clip.swim.start_at, clinic_instant(fit.zero_at, fit.rate_ppm, ticks_to_media_s(ticks))
        )
        for ticks in (clip.in_ticks, clip.out_ticks)
    )
    from_s, to_s = max(clip.seen_from_s, begin_s), min(clip.seen_to_s, end_s)
    if from_s >= to_s:  # its clock was not known, or was quite wrong, when it was placed
        from_s, to_s = begin_s, end_s
    _save(clip, time_state=fit.state, seen_from_s=round(from_s, 3), seen_to_s=round(to_s, 3))


def _save(clip: Clip, **values: Any) -> None:
    fresh = {name: value for name, value in values.items() if getattr(clip, name) != value}
    for name, value in fresh.items():
        setattr(clip, name, value)
    if fresh:
        Clip.objects.filter(pk=clip.pk).update(**fresh)
