"""A swim as a lane strip, and what was said about it in order of swim time."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from django.utils.translation import gettext as _

from clinics.models import Clip, Swim
from feedback.actions.captions import comment_swim_s
from feedback.compute.course import expected_end_s, expected_walls_s
from feedback.models import Comment
from portal.compute.lane_strip import Instant, Lane, Span

WORDS_AT_MOST = 60  # letters of a comment on the strip


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


def begun(text: str) -> str:
    """The first line of what was said, shortened; comments.js shortens in the same way."""
    first = text.strip().split("\n")[0].strip()
    return first if len(first) <= WORDS_AT_MOST else first[: WORDS_AT_MOST - 1] + "…"


def lane_of(
    swim: Swim,
    names: dict[Clip, str],
    comments: Sequence[Comment],
    now_s: float | None = None,
    flags: Sequence[Instant] = (),
    phases: Sequence[Span] = (),
) -> Lane:
    """Walls and the end stand where the pace puts them, until marks say better."""
    entry, clinic = swim.entry, swim.entry.clinic
    pace = {"distance_m": clinic.distance_m, "pace_s_per_100m": entry.pace_s_per_100m}
    end_s = expected_end_s(**pace)
    walls_s = expected_walls_s(course_m=clinic.course_m, **pace)
    said_at = [(comment, comment_swim_s(swim, comment)) for comment in comments]
    pins = tuple(
        Instant(at, begun(comment.text), str(comment.pk))
        for comment, at in said_at
        if at is not None
    )
    seen_from = [clip.seen_from_s for clip in names]
    seen_to = [clip.seen_to_s for clip in names]
    return Lane(
        begin_s=min(0.0, *seen_from, *(one.at_s for one in (*pins, *flags)), 0.0),
        end_s=max(end_s, *seen_to, *(one.at_s for one in (*pins, *flags)), 1.0),
        walls=tuple(
            Instant(at, name=_("start") if n == 0 else _("turn, expected by pace"))
            for n, at in enumerate(walls_s)
        ),
        phases=tuple(phases),
        bars=tuple(
            Span(clip.seen_from_s, clip.seen_to_s, name, str(clip.pk))
            for clip, name in names.items()
        ),
        pins=pins,
        flags=tuple(flags),
        leaves_s=end_s,
        now_s=now_s,
    )
