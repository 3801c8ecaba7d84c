"""The planes of a swim's recordings, as its page shows and draws them.

A plane stands on a recording that other swims share: of what it holds elsewhere nothing is told."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.urls import reverse
from django.utils.formats import number_format
from django.utils.translation import gettext as _

from clinics.models import Swim
from feedback.actions.frames import ticks_of
from feedback.actions.planes import HeldPlane, held_planes
from feedback.compute.measuring.plane_lines import distance_lines
from feedback.compute.measuring.plane_marks import What
from feedback.models import PicturePlane
from feedback.views.planes_words import WHAT_NAMES, caution_words, fit_words
from feedback.views.room_data import StationView


@dataclass(frozen=True)
class ShownPlane:
    """`spans`: by view, the first and last of its frames on which the plane holds."""

    held: HeldPlane
    swim: Swim
    spans: dict[str, tuple[int, int]]
    views: list[StationView]
    coaching: bool

    @property
    def names(self) -> str:
        return ", ".join(view.name for view in self.views)

    @property
    def by(self) -> str:
        return str(self.held.row.placed_by or _("Somebody who is no longer here"))

    @property
    def holds(self) -> str:
        row = self.held.row
        if row.from_ticks is None and row.to_ticks is None:
            return _("the whole recording")
        if row.from_ticks == row.to_ticks:
            return _("one frame only")
        return _("until a frame") if row.from_ticks is None else _("from a frame on")

    @property
    def title(self) -> str:
        upright = self.held.row.lies == PicturePlane.Lies.UPRIGHT
        return _("upright along the lane") if upright else _("flat on the water")

    @property
    def said(self) -> list[str]:
        """For coaches: how it fits; for all: what it does not hold for."""
        if self.held.fitted is None:
            gone = _("Its marks make no plane any more.")
            more = _("Take it away and set others.")
            return [f"{gone} {more}" if self.coaching else gone]
        fit = fit_words(self.held.fitted) if self.coaching else []
        return fit + caution_words(self.held, self.views[0].clip.station)

    @property
    def take_away(self) -> str | None:
        if not self.coaching:
            return None
        return reverse("feedback:plane-take-away", args=[self.swim.pk, self.held.row.pk])

    @property
    def opens(self) -> tuple[str, int]:
        """View and frame to look at it."""
        view = self.views[0]
        return view.key, self.spans[view.key][0]

    def for_script(self) -> dict[str, Any]:
        fitted = self.held.fitted
        view, frame = self.opens
        return {
            "key": self.held.key,
            "spans": self.spans,
            "marks": _marks(self.held) if fitted else [],
            "lines": _lines(self.held) if fitted else [],
            "view": view,
            "frame": frame,
            "names": self.names,
            "title": self.title,
            "holds": self.holds,
            "by": self.by,
            "said": self.said,
            "take_away": self.take_away,
        }


def _marks(held: HeldPlane) -> list[dict[str, Any]]:
    return [
        {"n": n, "x": one["x"], "y": one["y"], "what": str(_what(one))}
        for n, one in enumerate(held.row.points, start=1)
    ]


def _what(point: dict[str, Any]) -> str:
    known = point.get("what")
    return str(WHAT_NAMES[What(known)] if known in set(What) else WHAT_NAMES[What.OTHER])


def _lines(held: HeldPlane) -> list[dict[str, Any]]:
    """Ends in parts of the picture's width and height."""
    return [
        {
            "label": _("%(distance)s m") % {"distance": number_format(f"{line.along_m:g}")},
            "ends": [[x / held.width, y / held.height] for x, y in line.ends],
        }
        for line in distance_lines(held.plane)
    ]


def planes_of(swim: Swim, views: list[StationView], *, coaching: bool) -> list[ShownPlane]:
    """Newest first, those that hold on a frame of a view. One query. `views`: those that the
    fence let through."""
    planes = held_planes(view.clip.recording_id for view in views)
    shown = []
    for held in _all(planes.of(key) for key in {view.clip.recording_id: 0 for view in views}):
        spans = {}
        for view in views:
            if view.clip.recording_id == held.row.recording_id:
                span = _span(held.row, view)
                if span is not None:
                    spans[view.key] = span
        where = [view for view in views if view.key in spans]
        if where:
            shown.append(ShownPlane(held, swim, spans, where, coaching))
    return sorted(shown, key=lambda one: one.held.row.placed_at, reverse=True)


def _all(lists: Iterable[list[HeldPlane]]) -> Iterable[HeldPlane]:
    for one in lists:
        yield from one


def _span(row: PicturePlane, view: StationView) -> tuple[int, int] | None:
    """None: on no frame of the view, or its list of frames is gone."""
    ticks = ticks_of(view.clip.recording)
    if ticks is None:
        return None
    first, last = 0, len(ticks) - 1
    if row.from_ticks is not None:
        first = int(np.searchsorted(ticks, row.from_ticks, side="left"))
    if row.to_ticks is not None:
        last = int(np.searchsorted(ticks, row.to_ticks, side="right")) - 1
    first, last = first - view.clip.first_frame, last - view.clip.first_frame
    first, last = max(first, 0), min(last, view.clip.frame_count - 1)
    return (first, last) if first <= last else None
