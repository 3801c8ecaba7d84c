"""Two swims as the page of a comparison shows them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from clinics.compute.time import TICKS_PER_S, seconds_between, ticks_to_media_s
from clinics.models import Swim
from feedback.compute.compare import CommonMark, Found, Placed, common_marks
from feedback.compute.compare_views import Pair, Swum, View, opening_pair, pair_views
from feedback.views.mark_list import PlacedMark, marks_of
from feedback.views.room_data import StationView, views_of
from portal.compute.lane_strip import Instant, Lane, Span
from portal.models import User


@dataclass(frozen=True)
class Side:
    """One of the two swims. `clockless`: views whose time is not known; nothing can be in step
    with them. `views` are the others."""

    swim: Swim
    views: list[StationView]
    clockless: list[StationView]
    placed: list[PlacedMark]

    @cached_property
    def swum(self) -> Swum:
        entry = self.swim.entry
        return Swum(
            stroke=entry.stroke,
            start=entry.start,
            course_m=entry.clinic.course_m,
            distance_m=entry.clinic.distance_m,
            views=tuple(_compared(view) for view in self.views),
        )

    def marks(self) -> list[Placed]:
        """Marks with a time, each at the very beginning of its frame."""
        timed = [one for one in self.placed if one.at_s is not None]
        ordered = sorted(timed, key=lambda one: one.mark.placed_at)
        return [
            Placed(
                kind=one.mark.kind,
                at_s=_exact_s(self.swim, one),
                order=order,
                mine=one.mine,
                view=one.view.key if one.view else "",
            )
            for order, one in enumerate(ordered)
        ]


def side_of(swim: Swim, user: User) -> Side:
    views = views_of(swim, user)
    return Side(
        swim=swim,
        views=[view for view in views if view.fit is not None and view.videos],
        clockless=[view for view in views if view.fit is None],
        placed=marks_of(swim, user, views),
    )


def _exact_s(swim: Swim, placed: PlacedMark) -> float:
    """As the browser computes it, not rounded to the microsecond: 0 s of the comparison is the
    marked frame's first instant, and must not fall into the frame before it."""
    fit = placed.mark.recording.clock_fit
    if fit.zero_at is None:
        raise ValueError("a mark whose time is not known is in step with nothing")
    media_s = ticks_to_media_s(placed.mark.pts_ticks)
    return seconds_between(swim.start_at, fit.zero_at) + media_s * (1.0 + fit.rate_ppm * 1e-6)


def _compared(view: StationView) -> View:
    clip, station = view.clip, view.clip.station
    length_s = ticks_to_media_s(clip.out_ticks - clip.in_ticks)
    return View(
        key=view.key,
        station=str(station.pk),
        kind=station.kind,
        pass_no=clip.pass_no,
        place_m=(station.x_m, station.y_m, station.z_m),
        frames_per_s=clip.frame_count / length_s,
        state=view.sure_kind,
        from_s=view.from_s,
        to_s=view.to_s,
    )


@dataclass(frozen=True)
class Comparison:
    """Both swims, what they are in step from, and which pair of views is on stage."""

    sides: tuple[Side, Side]
    found: Found
    mark: CommonMark
    pairs: list[Pair]
    shown: tuple[StationView, StationView] | None

    def view_of(self, view: View) -> StationView:
        return next(v for side in self.sides for v in side.views if v.key == view.key)

    def opens_at_s(self, n: int) -> float:
        """Where in its file the view on stage shows the common mark, for a plain player."""
        if self.shown is None:
            return 0.0
        view = self.shown[n]
        media_s = (self.mark.at_s[n] - view.zero_s) / view.rate
        return max(0.0, media_s - view.first_ticks / TICKS_PER_S)

    def lane(self) -> Lane:
        """Time since the common mark: when each view's clip runs, and what is marked. Neither
        walls nor an end: these would be guessed from pace."""
        both = list(zip(self.sides, self.mark.at_s, strict=True))
        bars = tuple(
            Span(view.from_s - at, view.to_s - at, self.view_of(view).name, view.key)
            for side, at in both
            for view in side.swum.views
        )
        flags = tuple(
            Instant(placed.at_s - at, name=f"{placed.label}, {side.swim.entry.swimmer.name}")
            for side, at in both
            for placed in side.placed
            if placed.at_s is not None
        )
        ends = [bar.from_s for bar in bars] + [bar.to_s for bar in bars]
        return Lane(min([0.0, *ends]), max([1.0, *ends]), bars=bars, flags=flags, now_s=0.0)

    def for_script(self) -> dict[str, Any]:
        lane = self.lane()
        return {
            "sides": [
                {
                    "key": str(side.swim.pk),
                    "offset_s": at,
                    "views": [_for_script(view, compared, at) for view, compared in _both(side)],
                }
                for side, at in zip(self.sides, self.mark.at_s, strict=True)
            ],
            "pairs": [[one.key, other.key] for one, other in self.pairs],
            "shown": [view.key for view in self.shown] if self.shown else None,
            "begin_s": lane.begin_s,
            "end_s": lane.end_s,
        }


def _both(side: Side) -> list[tuple[StationView, View]]:
    return list(zip(side.views, side.swum.views, strict=True))


def _for_script(view: StationView, compared: View, at_s: float) -> dict[str, Any]:
    """As in the room, with all times counted from the common mark."""
    clip = view.clip
    return {
        **view.for_script(),
        "zero_s": view.zero_s - at_s,
        "from_s": compared.from_s - at_s,
        "to_s": compared.to_s - at_s,
        "seen_from_s": clip.seen_from_s - at_s,
        "seen_to_s": clip.seen_to_s - at_s,
    }


def comparison_of(one: Side, other: Side, asked: Mapping[str, str]) -> Comparison:
    """`asked` names a mark and the views of both sides; what makes no sense is left out."""
    found = common_marks(one.marks(), other.marks())
    mark = next((m for m in found.marks if m.name == asked.get("mark")), found.marks[0])
    pairs = pair_views(one.swum.views, other.swum.views)
    return Comparison((one, other), found, mark, pairs, _shown(one, other, pairs, mark, asked))


def _shown(
    one: Side, other: Side, pairs: list[Pair], mark: CommonMark, asked: Mapping[str, str]
) -> tuple[StationView, StationView] | None:
    if not one.views or not other.views:
        return None
    opened = opening_pair(pairs, mark.at_s, mark.views)
    keys = [view.key for view in opened] if opened else [one.views[0].key, other.views[0].key]
    left, right = (
        next(
            (v for wanted in (asked.get(name), key) for v in side.views if v.key == wanted),
            side.views[0],
        )
        for name, side, key in (("left", one, keys[0]), ("right", other, keys[1]))
    )
    return left, right
