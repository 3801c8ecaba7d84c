"""What was said as captions of one view's film, as its page and the export give them."""

from __future__ import annotations

import uuid

from django.utils.translation import gettext as _

from clinics.compute.time import TICKS_PER_S
from clinics.models import Clip, Recording, Swim
from feedback.actions.frames import frame_at, pts_ticks_of, swim_s_at, ticks_of
from feedback.compute.webvtt import Cue, Spoken, with_ends, written
from feedback.models import Comment
from portal.models import User


def captions_of(clip: Clip, swim: Swim, user: User, *, notes: bool = False) -> str:
    """The WebVTT file. The clip comes with its station and its recording's clock fit."""
    cues = cues_of(clip, swim, user, notes=notes)
    return written(with_ends(cues, film_s(clip)), about=clip.station.name)


def comment_swim_s(swim: Swim, comment: Comment) -> float | None:
    """None: about the whole swim, or at a picture whose clock is not known."""
    if comment.recording is None or comment.pts_ticks is None:
        return None
    return swim_s_at(swim, comment.recording, comment.pts_ticks)


def cues_of(clip: Clip, swim: Swim, user: User, *, notes: bool) -> list[Cue]:
    """Comments on the clip's pictures, and those about the swim at an instant that it shows;
    replies go with what they answer."""
    rows = Comment.objects.visible_to(user).filter(
        swim=swim, sent_at__isnull=False, taken_back_at__isnull=True
    )
    rows = rows if notes else rows.filter(for_coaches=False)
    said = list(rows.select_related("author", "recording__clock_fit").order_by("sent_at"))
    replies: dict[uuid.UUID | None, list[Comment]] = {}
    for comment in said:
        replies.setdefault(comment.reply_to_id, []).append(comment)
    cues = []
    for comment in replies.get(None, []):
        times = _times_s(clip, swim, comment)
        if times is not None:
            spoken = (_spoken(one) for one in (comment, *replies.get(comment.pk, [])))
            cues.append(Cue(*times, tuple(spoken)))
    return cues


def _spoken(comment: Comment) -> Spoken:
    who = str(comment.author) if comment.author else _("Somebody who is no longer here")
    return Spoken(who, comment.text)


def film_s(clip: Clip) -> float:
    """How long the clip's film lasts: to the end of its last frame."""
    return _end_s(clip, clip.frame_count - 1)


def _times_s(clip: Clip, swim: Swim, comment: Comment) -> tuple[float, float | None] | None:
    """When in the clip's film; None: not in it."""
    if ticks_of(clip.recording) is None or comment.pts_ticks is None:
        return None
    if comment.recording_id == clip.recording_id:
        return _by_frames(clip, comment.pts_ticks, comment.until_ticks)
    return _by_clocks(clip, swim, comment) if comment.on_swim else None


def _by_frames(
    clip: Clip, from_ticks: int, until_ticks: int | None
) -> tuple[float, float | None] | None:
    """Exactly, by the recording's frames. Of a span the part that the clip has."""
    first, last = 0, clip.frame_count - 1
    if until_ticks is None:
        frame = frame_at(clip, from_ticks)
        return None if frame is None else (_begin_s(clip, frame), None)
    if until_ticks < pts_ticks_of(clip, first) or from_ticks > pts_ticks_of(clip, last):
        return None
    begin, end = frame_at(clip, from_ticks), frame_at(clip, until_ticks)
    return (
        _begin_s(clip, first if begin is None else begin),
        _end_s(clip, last if end is None else end),
    )


def _by_clocks(clip: Clip, swim: Swim, comment: Comment) -> tuple[float, float | None] | None:
    """By the instant of the swim at which something was said on another recording."""
    zero_s = swim_s_at(swim, clip.recording, pts_ticks_of(clip, 0))
    at_s = comment_swim_s(swim, comment)
    recording: Recording | None = comment.recording
    if zero_s is None or at_s is None or recording is None:
        return None
    from_s, until_s = at_s - zero_s, None
    if comment.until_ticks is not None:
        until_s = (swim_s_at(swim, recording, comment.until_ticks) or at_s) - zero_s
    if from_s >= film_s(clip) or (from_s if until_s is None else until_s) < 0:
        return None
    return max(from_s, 0.0), until_s


def _begin_s(clip: Clip, frame: int) -> float:
    return (pts_ticks_of(clip, frame) - pts_ticks_of(clip, 0)) / TICKS_PER_S


def _end_s(clip: Clip, frame: int) -> float:
    """When the next frame begins; of the recording's last one, as long as the one before."""
    ticks = ticks_of(clip.recording)
    if ticks is None:
        return (clip.out_ticks - clip.in_ticks) / TICKS_PER_S
    here = clip.first_frame + frame
    after = ticks[here + 1] if here + 1 < len(ticks) else 2 * ticks[here] - ticks[here - 1]
    return (int(after) - pts_ticks_of(clip, 0)) / TICKS_PER_S
