"""The marks of a swim as its pages show them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.urls import reverse
from django.utils.formats import number_format
from django.utils.translation import gettext as _

from clinics.models import Swim
from feedback.actions.frames import frame_at, swim_s_at
from feedback.models import Mark
from feedback.views.room_data import StationView
from portal.compute.lane_strip import Instant
from portal.models import User

# The quick ones, in the order of a swim; each has a figure as its key.
KEYED = (
    Mark.Kind.START_SIGNAL,
    Mark.Kind.FIRST_ENTRY,
    Mark.Kind.BREAKOUT,
    Mark.Kind.HANDS_TOUCH_WALL,
    Mark.Kind.FEET_TOUCH_WALL,
    Mark.Kind.FEET_LEAVE_WALL,
)


@dataclass(frozen=True)
class PlacedMark:
    """`at_s` is the time of the frame itself, None: its clock is not known. `view` and `frame`
    are where a tap leads, None: no view shows that picture any more."""

    mark: Mark
    at_s: float | None
    view: StationView | None
    frame: int | None
    mine: bool

    @property
    def label(self) -> str:
        """The event; "head at 15 m" for one at a distance, "head breaks surface, 11.5 m"."""
        mark = self.mark
        head = mark.kind == Mark.Kind.HEAD_AT_DISTANCE
        if mark.distance_m is None:
            return _("head where it is in the picture") if head else mark.get_kind_display()
        distance = number_format(f"{mark.distance_m:g}", use_l10n=True)
        if head:
            return _("head at %(distance)s m") % {"distance": distance}
        event = {"event": mark.get_kind_display(), "distance": distance}
        return _("%(event)s, %(distance)s m") % event

    @property
    def where(self) -> str:
        return _("with its place in the picture") if self.mark.x is not None else ""

    @property
    def by(self) -> str:
        return str(self.mark.placed_by or _("Somebody who is no longer here"))

    def for_script(self) -> dict[str, Any]:
        shown = self.view
        return {
            "key": str(self.mark.pk),
            "view": shown.key if shown else None,
            "view_name": shown.name if shown else None,
            "frame": self.frame,
            "kind": self.mark.kind,
            "distance_m": self.mark.distance_m,
            "x": self.mark.x,
            "y": self.mark.y,
            "where": self.where,
            "label": self.label,
            "at_s": self.at_s,
            "sure": shown.sure if shown else None,
            "sure_class": shown.sure_class if shown else None,
            "mine": self.mine,
            "by": self.by,
            "take_away": reverse("feedback:mark-take-away", args=[self.mark.pk])
            if self.mine
            else None,
        }


def marks_of(swim: Swim, user: User, views: list[StationView]) -> list[PlacedMark]:
    """In order of swim time; what has none comes last."""
    marks = Mark.objects.visible_to(user).filter(swim=swim)
    placed = [
        _placed(swim, user, mark, views)
        for mark in marks.select_related("placed_by", "recording__clock_fit")
    ]
    return sorted(placed, key=lambda one: (one.at_s is None, one.at_s or 0.0))


def _placed(swim: Swim, user: User, mark: Mark, views: list[StationView]) -> PlacedMark:
    view, frame = _where(mark, views)
    return PlacedMark(
        mark=mark,
        at_s=swim_s_at(swim, mark.recording, mark.pts_ticks),
        view=view,
        frame=frame,
        mine=mark.placed_by_id == user.pk,
    )


def _where(mark: Mark, views: list[StationView]) -> tuple[StationView | None, int | None]:
    for view in views:
        if view.clip.recording_id == mark.recording_id:
            frame = frame_at(view.clip, mark.pts_ticks)
            if frame is not None:
                return view, frame
    return None, None


def flags_of(placed: list[PlacedMark]) -> tuple[Instant, ...]:
    """Marks as flags on a lane strip."""
    return tuple(
        Instant(one.at_s, name=one.label, key=str(one.mark.pk))
        for one in placed
        if one.at_s is not None
    )
