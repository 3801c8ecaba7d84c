"""Stored marks as measures (feedback/compute/measuring), for one swim or for many in a bounded
number of queries. Nothing computed is stored: a better clock fit improves every measure."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from clinics.compute.errors import BadInput
from clinics.compute.time import TICKS_PER_S, ticks_to_media_s
from clinics.models import ClockFit, Swim
from feedback.actions.frames import swim_s_at, ticks_of
from feedback.actions.measured_zero import (
    WITH_CHOICES,
    Choices,
    choices_of,
    course_of,
    zero_of,
)
from feedback.actions.planes import HeldPlanes, held_planes
from feedback.compute.measuring.events import Event, Seen, View
from feedback.compute.measuring.turns import ZONES, TurnZone
from feedback.compute.measuring.whole import Measured, measure_swim
from feedback.models import Mark, MeasuringChoice

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from clinics.models import Recording
    from portal.models import Club, User

_WITH_MARKS = ("recording__clock_fit", *(f"swim__{name}" for name in WITH_CHOICES))


def interval_ticks_at(recording: Recording, pts_ticks: int) -> int | None:
    """From the frame before to this one; None when the list of frames is gone."""
    ticks = ticks_of(recording)
    if ticks is None or len(ticks) < 2:
        return None
    n = int(np.searchsorted(ticks, pts_ticks))
    n = min(max(n, 1), len(ticks) - 1)  # the first frame has none before it: as the next one
    return int(ticks[n] - ticks[n - 1])


def seen_of(swim: Swim, marks: Iterable[Mark], planes: HeldPlanes | None = None) -> list[Seen]:
    """Marks with their times; those of a recording whose clock or frame rate nobody knows are
    left out. They come with `recording__clock_fit`. Without `planes` the places of marks in
    their pictures tell nothing."""
    marks = list(marks)
    views = views_of(marks)
    found = []
    for mark in marks:
        seen = _seen(swim, mark, views[mark.recording_id])
        if seen is not None:
            found.append(seen if planes is None else _placed(seen, mark, planes))
    return found


def views_of(marks: Iterable[Mark]) -> dict[uuid.UUID, View]:
    """By recording."""
    views: dict[uuid.UUID, View] = {}
    for mark in marks:
        if mark.recording_id not in views:
            views[mark.recording_id] = _view(mark.recording)
    return views


def planes_of(marks: Iterable[Mark]) -> HeldPlanes:
    """Those of the recordings in whose pictures a mark has a place: one query, or none."""
    return held_planes(mark.recording_id for mark in marks if mark.x is not None)


def _placed(seen: Seen, mark: Mark, planes: HeldPlanes) -> Seen:
    """With metres along the course, where a plane holds on its frame; a spot at the plane's
    horizon has none."""
    if mark.x is None or mark.y is None:
        return seen
    held = planes.at(mark.recording_id, mark.pts_ticks)
    if held is None:
        return seen
    try:
        spot = held.spot(mark.x, mark.y, seen.key)
    except BadInput:
        return seen
    return replace(seen, place=spot.x, outside=spot.outside, from_above=not held.under_water)


def _view(recording: Recording) -> View:
    fit: ClockFit | None = getattr(recording, "clock_fit", None)
    known = fit is not None and fit.zero_at is not None and fit.u_ms is not None
    u_ms = fit.u_ms if fit is not None and known else None
    return View(str(recording.pk), None if u_ms is None else u_ms / 1000)


def _seen(swim: Swim, mark: Mark, view: View) -> Seen | None:
    fit: ClockFit | None = getattr(mark.recording, "clock_fit", None)
    interval = mark.interval_ticks or interval_ticks_at(mark.recording, mark.pts_ticks)
    if not interval:
        return None
    rate = 1 + (fit.rate_ppm if fit else 0.0) * 1e-6
    at_s = swim_s_at(swim, mark.recording, mark.pts_ticks)
    if at_s is None:  # its own times are right between each other
        at_s = ticks_to_media_s(mark.pts_ticks) * rate
    return Seen(
        key=str(mark.pk),
        event=Event(mark.kind),
        view=view,
        frame_s=at_s,
        interval_s=interval / TICKS_PER_S * rate,
        by=str(mark.placed_by_id or ""),
        distance_m=mark.distance_m,
        distance_u_m=mark.distance_u_m or 0.0,
    )


def zone_of(club: Club) -> TurnZone:
    """As the club chose; one query for each object of a club, which remembers."""
    return _zone(getattr(club, "measuring", None))


def _zone(row: MeasuringChoice | None) -> TurnZone:
    return ZONES[0] if row is None else TurnZone(row.turn_in_m, row.turn_out_m)


def _zones(clubs: Iterable[uuid.UUID]) -> dict[uuid.UUID, TurnZone]:
    rows = MeasuringChoice.objects.filter(club__in=set(clubs))
    return {row.club_id: _zone(row) for row in rows}


def measured_of(swim: Swim, marks: QuerySet[Mark], *, by: User | None = None) -> Measured:
    """`marks`: what the reader may see, of any swims. `by`: whose marks come first where several
    people marked the same event; without, those of which the frames tell most."""
    its = list(marks.filter(swim=swim).select_related("recording__clock_fit"))
    return measured_from(swim, its, by=by)


def measured_from(
    swim: Swim,
    marks: Iterable[Mark],
    planes: HeldPlanes | None = None,
    *,
    by: User | None = None,
) -> Measured:
    """As `measured_of`, of marks that are there already. One query for the club's choice, one for
    planes where marks have places, one for a start that was marked or a medley's strokes."""
    marks = list(marks)
    zone = zone_of(swim.entry.clinic.club)
    planes = planes_of(marks) if planes is None else planes
    return _measured(swim, marks, choices_of(swim), planes, zone, by)


def measured_many(
    swims: Sequence[Swim], marks: QuerySet[Mark], *, by: User | None = None
) -> dict[uuid.UUID, Measured]:
    """As `measured_of`, by the swims' ids; two queries, a third where marks have places in their
    pictures. Swims come with `entry__clinic`."""
    zones = _zones(swim.entry.clinic.club_id for swim in swims)
    its: dict[uuid.UUID, list[Mark]] = {swim.pk: [] for swim in swims}
    for mark in marks.filter(swim__in=its).select_related(*_WITH_MARKS):
        its[mark.swim_id].append(mark)
    planes = planes_of(mark for placed in its.values() for mark in placed)
    found = {}
    for swim in swims:
        placed, zone = its[swim.pk], zones.get(swim.entry.clinic.club_id, ZONES[0])
        choices = choices_of(swim, placed[0].swim) if placed else Choices()
        found[swim.pk] = _measured(swim, placed, choices, planes, zone, by)
    return found


def _measured(
    swim: Swim,
    marks: list[Mark],
    choices: Choices,
    planes: HeldPlanes,
    zone: TurnZone,
    by: User | None,
) -> Measured:
    return measure_swim(
        seen_of(swim, marks, planes),
        course_of(swim, choices),
        zero_of(swim, views_of(marks), choices),
        zone=zone,
        by=str(by.pk) if by else "",
    )
