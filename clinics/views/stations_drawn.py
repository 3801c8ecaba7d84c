"""The pool plan as a page draws it: in a few sizes, of which the page shows the one that fits, so
that type and marks stay legible on a phone."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from clinics.actions.stations_seen import StationsSeen, stations_seen
from clinics.compute.plan_drawing import Across, AcrossKind, Lane, Mark, PlanDrawing
from clinics.compute.sight import Stand
from clinics.models import Clinic, Station

SIZES_PX = {"narrow": 340.0, "medium": 620.0, "wide": 1040.0}  # plan-pool.css shows one of them
HANDLE_OFF = 2.2  # from the mark, in radii of what takes the finger: their circles do not meet
LETTER = 0.56  # of the type's size: what a letter takes on average, so that a lane's words fit


@dataclass(frozen=True)
class Handle:
    """What turns the camera: a line from its mark at (x1, y1) to a knob at (x, y)."""

    x1: float
    y1: float
    x: float
    y: float
    bearing_deg: float


@dataclass(frozen=True)
class DrawnStation:
    mark: Mark
    station: Station
    stand: Stand
    handle: Handle


@dataclass(frozen=True)
class DrawnPlan:
    """One size. `lines`: lines across with a word beside each, where there is room for words."""

    size: str
    d: PlanDrawing
    stations: tuple[DrawnStation, ...]
    lanes: tuple[tuple[Lane, str], ...]
    lines: tuple[tuple[Across, str], ...]
    ladder: str  # a path
    number_font: float


@dataclass(frozen=True)
class PoolOnPage:
    """What clinics/plan_pool.html draws, with what its legend names."""

    seen: StationsSeen
    plans: tuple[DrawnPlan, ...]
    out_m: float

    @property
    def d(self) -> PlanDrawing:
        return self.plans[0].d

    @property
    def clear(self) -> bool:
        return any(lane.kept_clear for lane in self.d.lanes)

    @property
    def flags(self) -> bool:
        return any(line.kind is AcrossKind.FLAGS for line in self.d.across)

    @property
    def fifteen(self) -> bool:
        return any(line.kind is AcrossKind.FIFTEEN for line in self.d.across)


def pool_context(
    clinic: Clinic, *, width_px: float = SIZES_PX["medium"], seen: StationsSeen | None = None
) -> dict[str, Any]:
    """For {% include "clinics/plan_pool.html" %}, with clinics/plan-pool.css on the page.
    `width_px`: how wide the page shows the plan at most. Two queries, as `stations_seen`; none
    if that is handed in."""
    seen = seen or stations_seen(clinic)
    sizes = [size for size, px in SIZES_PX.items() if px <= max(width_px, SIZES_PX["narrow"])]
    plans = tuple(_plan(seen, size) for size in sizes)
    return {"plan_pool": PoolOnPage(seen, plans, plans[0].d.climb_out.at_m)}


def _plan(seen: StationsSeen, size: str) -> DrawnPlan:
    d = seen.drawn(SIZES_PX[size])
    stations = zip(d.marks, seen.stations, seen.stands, strict=True)
    return DrawnPlan(
        size=size,
        d=d,
        stations=tuple(
            DrawnStation(mark, station, stand, _handle(mark, seen.sight(stand).bearing_deg, d))
            for mark, station, stand in stations
        ),
        lanes=tuple((lane, _lane_words(lane, seen, d, size)) for lane in d.lanes),
        lines=tuple((line, "" if size == "narrow" else _line_word(line)) for line in d.across),
        ladder=_ladder(d),
        number_font=round(0.95 * d.sizes.font, 2),
    )


def _handle(mark: Mark, bearing_deg: float, d: PlanDrawing) -> Handle:
    off, axis = HANDLE_OFF * d.sizes.touch_r, math.radians(bearing_deg)
    x, y = mark.x + off * math.cos(axis), mark.y + off * math.sin(axis)
    return Handle(mark.x, mark.y, round(x, 2), round(y, 2), bearing_deg)


def _lane_words(lane: Lane, seen: StationsSeen, d: PlanDrawing, size: str) -> str:
    if size == "narrow" or not lane.label_fits:
        return ""
    number = {"number": lane.number, "before": lane.number - 1}
    distance_m = f"{seen.clinic.distance_m:g}"
    tries = [str(lane.number)]
    if lane.swum:
        whole = _("lane %(number)d, swum; out after %(distance)s m")
        tries = [whole % {**number, "distance": distance_m}, _("%(number)d, swum") % number]
    elif lane.kept_clear:
        whole = _("lane %(number)d, kept clear; rope %(before)d/%(number)d taken out")
        tries = [whole % number, _("%(number)d, clear") % number]
    room = d.arrow.shaft.x1 - d.left if lane.swum else d.water.width / 2
    fitting = (text for text in tries if len(text) * LETTER * d.sizes.small_font < room)
    return next(fitting, str(lane.number))


def _line_word(line: Across) -> str:
    return _("flags") if line.kind is AcrossKind.FLAGS else "15 m"


def _ladder(d: PlanDrawing) -> str:
    """Two rails over the pool's edge, three rungs."""
    x, y, half, tall = d.climb_out.x, d.climb_out.y, 0.45 * d.sizes.mark_r, 1.1 * d.sizes.mark_r
    top, low = y - tall, y + tall
    rails = [f"M{x + side * half:.2f},{top:.2f}V{low:.2f}" for side in (-1, 1)]
    rungs = [f"M{x - half:.2f},{y + n * tall / 1.8:.2f}h{2 * half:.2f}" for n in (-1, 0, 1)]
    return "".join(rails + rungs)
