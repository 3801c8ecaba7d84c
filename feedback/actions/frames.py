"""Frames of a clip as frames of its recording: the anchor of all that is placed on one.

A clip's frame n is frame `first_frame` + n of the recording (design: time, invariant 3), so
a browser only ever says which frame was on screen; the time is looked up here.
"""

from __future__ import annotations

from functools import lru_cache
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from clinics.actions.index import frames_of
from clinics.compute.time import clinic_instant, swim_s, ticks_to_media_s
from clinics.models import Clip, Recording, Swim


class FrameUnknown(Exception):
    """The frame is none of the clip's, or the recording's list of frames is gone."""


@lru_cache(maxsize=16)
def _table(frame_table_id: UUID, recording_id: UUID) -> NDArray[np.int64]:
    return frames_of(Recording.objects.get(pk=recording_id))


def ticks_of(recording: Recording) -> NDArray[np.int64] | None:
    """PTS of the recording's frames in 1/90000 s, ascending; None when they are not known.

    Read once per process and frame table: a table never changes, a new one has a new id.
    """
    if recording.frame_table_id is None:
        return None
    return _table(recording.frame_table_id, recording.pk)


def pts_ticks_of(clip: Clip, frame: int) -> int:
    """PTS of a clip's frame in its recording."""
    ticks = ticks_of(clip.recording)
    if ticks is None or not 0 <= frame < clip.frame_count:
        raise FrameUnknown(f"clip {clip.pk} has no frame {frame}")
    return int(ticks[clip.first_frame + frame])


def frame_at(clip: Clip, pts_ticks: int) -> int | None:
    """Which of the clip's frames has this PTS; None: none of them."""
    ticks = ticks_of(clip.recording)
    if ticks is None:
        return None
    index = int(np.searchsorted(ticks, pts_ticks, side="right")) - 1
    frame = index - clip.first_frame
    return frame if 0 <= frame < clip.frame_count else None


def swim_s_at(swim: Swim, recording: Recording, pts_ticks: int) -> float | None:
    """Swim time of a picture of a recording; None while its clock is not known.

    The recording comes with its `clock_fit`.
    """
    fit = getattr(recording, "clock_fit", None)
    if fit is None or fit.zero_at is None:
        return None
    instant = clinic_instant(fit.zero_at, fit.rate_ppm, ticks_to_media_s(pts_ticks))
    return swim_s(swim.start_at, instant)
