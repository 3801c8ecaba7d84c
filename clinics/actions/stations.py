"""Where a station stands and looks: moved, and put back. Whoever calls has asked the fence."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, replace

from django.db import transaction

from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.actions.stations_seen import stand_of
from clinics.actions.venue import pool_of
from clinics.compute.checks import Errors, raise_if_any, within
from clinics.compute.plan_drawing import moved, snapped
from clinics.models import Clinic, Station
from portal.actions.audit import record
from portal.models import User

OUT_M, ACROSS_M, DEEP_M, HIGH_M = 20.0, 50.0, -6.0, 20.0  # as a plan file takes them
CENTIMETRE = 0.01
NEAR_M = CENTIMETRE / 2


@dataclass(frozen=True)
class Place:
    """Where a station stands, and where it looks: None is “as usual”."""

    x_m: float
    y_m: float
    z_m: float
    bearing_deg: float | None

    def same_as(self, other: Place) -> bool:
        """Within half a centimetre, and half a tenth of a degree."""
        pairs = zip(asdict(self).values(), asdict(other).values(), strict=True)
        return all(
            a is b if a is None or b is None else abs(a - b) <= NEAR_M * (1 + 1e-9)
            for a, b in pairs
        )


def place_of(station: Station) -> Place:
    return Place(station.x_m, station.y_m, station.z_m, station.bearing_deg)


@transaction.atomic
def move_station(
    *, station: Station, to: Place, by: User | None, snap: bool = False
) -> tuple[Place, Place]:
    """Puts the station at a place, or as near as one of its kind may stand (see
    `plan_drawing.moves`): the place before, and the place now. `snap`: a drag ended there.

    BadInput: a number that cannot be meant, a closed clinic.
    """
    row = _locked(station)
    _refuse(to, row)
    before = place_of(row)
    there = _allowed(row, to, snap=snap)
    if there.same_as(before):
        return before, before
    _put(row, there)
    record(
        action="station.move",
        by=by,
        subject=row,
        club=row.clinic.club,
        detail={"from": asdict(before), "to": asdict(there)},
    )
    return before, there


@transaction.atomic
def put_back(*, station: Station, was: Place, now: Place, by: User | None) -> None:
    """Undoes a move from `was` to `now`. BadInput if the station stands elsewhere since then."""
    row = _locked(station)
    if not place_of(row).same_as(now):
        told = _("%(name)s has been moved since then, so it stays.", name=row.name)
        raise BadInput([("", told)])
    _put(row, was)
    record(
        action="station.put-back",
        by=by,
        subject=row,
        club=row.clinic.club,
        detail={"from": asdict(now), "to": asdict(was)},
    )


def _locked(station: Station) -> Station:
    """The row anew, with its clinic locked so that it is not closed meanwhile."""
    clinic = Clinic.objects.select_for_update().get(pk=station.clinic_id)
    if clinic.state == Clinic.State.CLOSED:
        raise BadInput([("", _("This clinic is closed; its stations stay as they are."))])
    row = Station.objects.filter(pk=station.pk, clinic=clinic).first()
    if row is None:
        raise BadInput([("", _("This station has been removed meanwhile."))])
    row.clinic = clinic
    return row


def _refuse(to: Place, station: Station) -> None:
    errors: Errors = []
    course_m = station.clinic.course_m
    within(to.x_m, -OUT_M, course_m + OUT_M, "x_m", errors)
    within(to.y_m, -ACROSS_M, ACROSS_M, "y_m", errors)
    within(to.z_m, DEEP_M, HIGH_M, "z_m", errors)
    if to.bearing_deg is not None:
        within(to.bearing_deg, -360.0, 360.0, "bearing_deg", errors)
    raise_if_any(errors)


def _allowed(station: Station, to: Place, *, snap: bool) -> Place:
    """A station that is only turned or raised stays where it stands, wherever that is."""
    stand, pool = stand_of(station), pool_of(station.clinic)
    dx_m, dy_m = to.x_m - stand.x_m, to.y_m - stand.y_m
    if max(abs(dx_m), abs(dy_m)) > NEAR_M:
        stand = moved(stand, dx_m, dy_m, pool)
        stand = snapped(stand, pool) if snap else stand
    bearing_deg = to.bearing_deg
    if bearing_deg is not None:
        bearing_deg = round(math.remainder(bearing_deg, 360.0), 1) + 0.0
    return replace(to, x_m=stand.x_m, y_m=stand.y_m, z_m=round(to.z_m, 2), bearing_deg=bearing_deg)


def _put(row: Station, place: Place) -> None:
    for name, value in asdict(place).items():
        setattr(row, name, value)
    row.save(update_fields=list(asdict(place)))
