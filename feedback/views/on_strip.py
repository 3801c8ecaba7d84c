"""A swim as a lane strip, and what was said about it in order of swim time."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from django.utils.translation import gettext as _

from clinics.compute.time import clinic_instant, swim_s, ticks_to_media_s
from clinics.models import Clip, Recording, Swim
from feedback.compute.course import expected_end_s, expected_walls_s
from feedback.models import Comment
from portal.compute.lane_strip import Instant, Lane, Span


def clip_names(clips: Iterable[Clip]) -> dict[Clip, str]:
    """Each view by its station, and by its pass where the swim goes by more than once."""
    ordered = sorted(clips, key=lambda clip: (clip.seen_from_s, clip.station.order))
    times = Counter(clip.station_id for clip in ordered)
    return {
        clip: clip.station.name
        if times[clip.station_id] == 1
        else _("%(station)s, pass %(number)d")
        % {"station": clip.station.name, "number": clip.pass_no}
        for clip in ordered
    }


def swim_s_at(swim: Swim, recording: Recording, pts_ticks: int) -> float | None:
    """Swim time of a picture of a recording; None while its clock is not known.

    The recording comes with its `clock_fit`.
    """
    fit = getattr(recording, "clock_fit", None)
    if fit is None or fit.zero_at is None:
        return None
    instant = clinic_instant(fit.zero_at, fit.rate_ppm, ticks_to_media_s(pts_ticks))
    return swim_s(swim.start_at, instant)


def comment_swim_s(swim: Swim, comment: Comment) -> float | None:
    """None: about the whole swim, or at a picture whose clock is not known."""
    if comment.recording is None or comment.pts_ticks is None:
        return None
    return swim_s_at(swim, comment.recording, comment.pts_ticks)


def lane_of(
    swim: Swim, names: dict[Clip, str], comments: Sequence[Comment], now_s: float | None = None
) -> Lane:
    """Walls and the end stand where the pace puts them, until marks say better."""
    entry, clinic = swim.entry, swim.entry.clinic
    pace = {"distance_m": clinic.distance_m, "pace_s_per_100m": entry.pace_s_per_100m}
    end_s = expected_end_s(**pace)
    walls_s = expected_walls_s(course_m=clinic.course_m, **pace)
    said_at = [(comment, comment_swim_s(swim, comment)) for comment in comments]
    pins = tuple(Instant(at, key=str(comment.pk)) for comment, at in said_at if at is not None)
    seen_from = [clip.seen_from_s for clip in names]
    seen_to = [clip.seen_to_s for clip in names]
    return Lane(
        begin_s=min(0.0, *seen_from, *(pin.at_s for pin in pins), 0.0),
        end_s=max(end_s, *seen_to, *(pin.at_s for pin in pins), 1.0),
        walls=tuple(
            Instant(at, name=_("start") if n == 0 else _("turn, expected by pace"))
            for n, at in enumerate(walls_s)
        ),
        bars=tuple(
            Span(clip.seen_from_s, clip.seen_to_s, name, str(clip.pk))
            for clip, name in names.items()
        ),
        pins=pins,
        leaves_s=end_s,
        now_s=now_s,
    )
