"""What the lane strip of one recording shows: starts, ties, clips, file joins, what is dropped."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from clinics.actions.dropped import dropped_of
from clinics.actions.fit_figures import FitFigures, media_s_of_starts
from clinics.compute.time import ticks_to_media_s
from clinics.models import Recording, Swim, Tie
from clinics.views.fit_words import SHAPE_OF
from portal.compute.lane_strip import SHAPES, Instant, Lane, Span


@dataclass(frozen=True)
class ShapeKey:
    """A line of the legend."""

    path: str
    name: str
    hollow: bool = False


def lane_of(figures: FitFigures, now_s: float | None) -> Lane | None:
    """The strip over the whole recording in media_s, None while its length is not known."""
    row = figures.recording
    if not row.duration_s:
        return None
    return Lane(
        begin_s=0.0,
        end_s=row.duration_s,
        now_s=now_s,
        starts=tuple(Instant(at_s, _who(swim)) for at_s, swim in media_s_of_starts(figures)),
        ties=tuple(
            Instant(
                one.media_s,
                tie_words(one.tie),
                key=str(one.tie.pk),
                shape=SHAPE_OF[Tie.Kind(one.tie.kind)],
                hollow=bool(one.tie.set_aside),
            )
            for one in figures.ties
        ),
        clips=_clips(row),
        joins=_joins(row),
        dropped=tuple(
            Span(ticks_to_media_s(begin), min(ticks_to_media_s(end), row.duration_s))
            for begin, end in dropped_of(row)
        ),
        as_clock=True,
    )


def _who(swim: Swim) -> str:
    return f"{swim.entry.number} {swim.entry.swimmer.name}"


def tie_words(tie: Tie) -> str:
    """ "start signal, heard: 12 Wren Okada"."""
    kind = str(tie.get_kind_display())
    return f"{kind}: {_who(tie.swim)}" if tie.swim else kind


def _clips(row: Recording) -> tuple[Span, ...]:
    clips = row.clips.select_related("swim__entry__swimmer").order_by("in_ticks")
    return tuple(
        Span(
            ticks_to_media_s(clip.in_ticks),
            ticks_to_media_s(clip.out_ticks),
            _("%(swimmer)s, pass %(n)s") % {"swimmer": _who(clip.swim), "n": clip.pass_no},
            key=str(clip.pk),
        )
        for clip in clips
    )


def _joins(row: Recording) -> tuple[Instant, ...]:
    """Where the camera went on in its next file, as the containers say."""
    files = list(row.files.order_by("order"))
    joins, at_s = [], 0.0
    for before, after in zip(files, files[1:], strict=False):
        lasts: Any = before.facts.get("duration_s")
        if not isinstance(lasts, int | float):
            break  # nothing is known of this file: where the next begins cannot be said
        at_s += lasts
        joins.append(Instant(at_s, after.name))
    return tuple(joins)


def legend_of(lane: Lane, figures: FitFigures) -> list[ShapeKey]:
    """The shapes that stand on the strip, each once."""
    kinds = {one.tie.kind for one in figures.ties if not one.tie.set_aside}
    told = [
        ShapeKey(SHAPES[shape], str(kind.label))
        for kind, shape in SHAPE_OF.items()
        if kind in kinds
    ]
    if any(tie.hollow for tie in lane.ties):
        told.append(ShapeKey(SHAPES["round"], _("a tie that does not count"), hollow=True))
    return told
