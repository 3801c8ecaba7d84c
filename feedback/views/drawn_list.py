"""The drawings of a swim as its page shows them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.urls import reverse
from django.utils.translation import gettext as _

from clinics.models import Swim
from feedback.actions.frames import swim_s_at, ticks_of
from feedback.compute.drawing import label_of
from feedback.models import Drawing
from feedback.views.room_data import StationView
from portal.models import User


@dataclass(frozen=True)
class Drawn:
    """`at_s` is the time of its frame, None: its clock is not known. `frame` to `until_frame` of
    `view` show it, None: no view has these pictures any more."""

    drawing: Drawing
    at_s: float | None
    view: StationView | None
    frame: int | None
    until_frame: int | None
    mine: bool

    @property
    def label(self) -> str:
        """What stands beside it in the picture: "130°", or nothing."""
        row = self.drawing
        return label_of(row.kind, row.points, row.width_px, row.height_px)

    @property
    def words(self) -> str:
        """What it is; of a joint, the angle, which is only as the camera sees it."""
        kind = str(self.drawing.get_kind_display())
        if not self.label:
            return kind
        return _("%(kind)s, about %(angle)s as seen") % {"kind": kind, "angle": self.label}

    @property
    def by(self) -> str:
        return str(self.drawing.author or _("Somebody who is no longer here"))

    @property
    def state(self) -> str:
        """Empty: the swimmer sees it too."""
        if self.drawing.sent_at is None:
            return _("draft")
        return _("for coaches") if self.drawing.for_coaches else ""

    def for_script(self) -> dict[str, Any]:
        row, shown = self.drawing, self.view
        return {
            "key": str(row.pk),
            "view": shown.key if shown else None,
            "view_name": shown.name if shown else None,
            "frame": self.frame,
            "until_frame": self.until_frame,
            "at_s": self.at_s,
            "kind": row.kind,
            "straight": row.straight,
            "points": row.points,
            "width_px": row.width_px,
            "height_px": row.height_px,
            "colour": row.colour,
            "comment": str(row.comment_id) if row.comment_id else None,
            "mine": self.mine,
            "draft": row.sent_at is None,
            "for_coaches": row.for_coaches,
            "state": self.state,
            "label": self.label,
            "words": self.words,
            "by": self.by,
            "move": reverse("feedback:drawing-move", args=[row.pk]) if self.mine else None,
            "stand": reverse("feedback:drawing-stand", args=[row.pk]) if self.mine else None,
            "rub_out": reverse("feedback:drawing-rub-out", args=[row.pk]) if self.mine else None,
        }


def drawings_of(swim: Swim, user: User, views: list[StationView]) -> list[Drawn]:
    """In order of swim time; what has none comes last. One query, however many there are."""
    rows = Drawing.objects.visible_to(user).filter(swim=swim)
    rows = rows.select_related("author", "recording__clock_fit")
    found = [drawn_of(swim, user, row, views) for row in rows]
    return sorted(found, key=lambda one: (one.at_s is None, one.at_s or 0.0))


def drawn_of(swim: Swim, user: User, row: Drawing, views: list[StationView]) -> Drawn:
    view, frame, until_frame = _where(row, views)
    at_s = swim_s_at(swim, row.recording, row.pts_ticks)
    return Drawn(row, at_s, view, frame, until_frame, row.author_id == user.pk)


def _where(
    row: Drawing, views: list[StationView]
) -> tuple[StationView | None, int | None, int | None]:
    """The first view that has a frame of its span, and which of its frames those are: a clip
    that was cut anew may begin within the span, or end."""
    for view in views:
        clip = view.clip
        ticks = ticks_of(clip.recording) if clip.recording_id == row.recording_id else None
        if ticks is None:
            continue
        # the frame that has this PTS, as for everything placed on one
        begin = int(np.searchsorted(ticks, row.pts_ticks, side="right")) - 1
        end = int(np.searchsorted(ticks, row.until_ticks or row.pts_ticks, side="right")) - 1
        first, last = begin - clip.first_frame, end - clip.first_frame
        if last >= 0 and first < clip.frame_count:
            return view, max(0, first), min(clip.frame_count - 1, last)
    return None, None, None


def with_drawings(drawings: Iterable[Drawn]) -> str:
    """What was drawn with some words: "with: trace; joint, about 130° as seen"."""
    named = [drawn.words for drawn in drawings]
    return _("with: %(drawings)s") % {"drawings": "; ".join(named)} if named else ""
