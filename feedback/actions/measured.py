"""Stored marks as measures (feedback/compute/measuring), for one swim or for many in a bounded
number of queries. Nothing computed is stored: a better clock fit improves every measure."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from clinics.compute.time import TICKS_PER_S, ticks_to_media_s
from clinics.models import ClockFit, Swim
from feedback.actions.frames import swim_s_at, ticks_of
from feedback.compute.measuring.events import Event, Seen, View, Zero
from feedback.compute.measuring.swim_marks import Course
from feedback.compute.measuring.turns import ZONES, TurnZone
from feedback.compute.measuring.whole import Measured, measure_swim
from feedback.models import Mark, MeasuringChoice

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from clinics.models import Recording
    from portal.models import Club, User


def interval_ticks_at(recording: Recording, pts_ticks: int) -> int | None:
    """From the frame before to this one; None when the list of frames is gone."""
    ticks = ticks_of(recording)
    if ticks is None or len(ticks) < 2:
        return None
    n = int(np.searchsorted(ticks, pts_ticks))
    n = min(max(n, 1), len(ticks) - 1)  # the first frame has none before it: as the next one
    return int(ticks[n] - ticks[n - 1])


def seen_of(swim: Swim, marks: Iterable[Mark]) -> list[Seen]:
    """Marks with their times; those of a recording whose clock or frame rate nobody knows are
    left out. They come with `recording__clock_fit`."""
    views: dict[uuid.UUID, View] = {}
    found = []
    for mark in marks:
        view = views.setdefault(mark.recording_id, _view(mark.recording))
        seen = _seen(swim, mark, view)
        if seen is not None:
            found.append(seen)
    return found


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


def zero_of(swim: Swim) -> Zero:
    return Zero(swim.start_kind, swim.start_u_ms / 1000, key=f"start of {swim.pk}")


def course_of(swim: Swim) -> Course:
    entry, clinic = swim.entry, swim.entry.clinic
    return Course(clinic.course_m, clinic.distance_m, entry.stroke, entry.start)


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
    its = marks.filter(swim=swim).select_related("recording__clock_fit")
    return _measured(swim, list(its), zone_of(swim.entry.clinic.club), by)


def measured_from(swim: Swim, marks: Iterable[Mark], *, by: User | None = None) -> Measured:
    """As `measured_of`, of marks that are there already; one query, for the club's choice."""
    return _measured(swim, list(marks), zone_of(swim.entry.clinic.club), by)


def measured_many(
    swims: Sequence[Swim], marks: QuerySet[Mark], *, by: User | None = None
) -> dict[uuid.UUID, Measured]:
    """As `measured_of`, by the swims' ids; two queries. Swims come with `entry__clinic`."""
    zones = _zones(swim.entry.clinic.club_id for swim in swims)
    its: dict[uuid.UUID, list[Mark]] = {swim.pk: [] for swim in swims}
    for mark in marks.filter(swim__in=its).select_related("recording__clock_fit"):
        its[mark.swim_id].append(mark)
    return {
        swim.pk: _measured(swim, its[swim.pk], zones.get(swim.entry.clinic.club_id, ZONES[0]), by)
        for swim in swims
    }


def _measured(swim: Swim, marks: list[Mark], zone: TurnZone, by: User | None) -> Measured:
    return measure_swim(
        seen_of(swim, marks),
        course_of(swim),
        zero_of(swim),
        zone=zone,
        by=str(by.pk) if by else "",
    )
