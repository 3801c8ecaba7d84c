"""Stations of a clinic that come, change and go: one to six. Whoever calls has asked the fence."""

from __future__ import annotations

import math
import uuid
from collections.abc import Iterable, Mapping
from typing import Any

from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.utils.text import slugify

from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.actions.stations_seen import stand_of
from clinics.actions.venue import pool_of
from clinics.compute.checks import Errors, raise_if_any
from clinics.compute.plan_drawing import moved
from clinics.compute.plan_file.stations import USUAL_HEIGHT_M
from clinics.compute.sight import DECK_M, Pool
from clinics.compute.sight_cones import DECK_PLACE_M
from clinics.compute.station_needs import BIT_RATES
from clinics.models import Camera, Clinic, Station
from portal.actions.audit import record
from portal.models import User

MOST = 6
APART_M = 2.0  # so far beside another of its kind a new one is put
ROPE = 2  # at this rope an underwater camera stands at first: a lane and a half away
FIELDS = (
    "name",
    "kind",
    "hears_start",
    "angle_deg",
    "port",
    "fixed_mount",
    "bit_rate",
    "card_gb",
    "battery_min",
)
_FIELD = {field.name: field for field in Station._meta.concrete_fields}


@transaction.atomic
def add_station(*, clinic: Clinic, name: str, kind: str, by: User | None) -> Station:
    """A new station, last in order, where one of its kind usually stands; its camera is named
    after it. BadInput: six are there already, no such kind, no name, a closed clinic."""
    clinic = _locked(clinic)
    there = list(clinic.stations.all())
    if len(there) >= MOST:
        raise BadInput([("", _("A clinic has one to six stations, and six are there."))])
    station = Station(clinic=clinic, name=name.strip(), kind=kind, order=len(there) + 1)
    _check(station, ["name", "kind"])
    station.slug = _free_slug(station.name, {one.slug for one in there})
    station.hears_start = kind != Station.Kind.UNDERWATER
    station.x_m, station.y_m = _free_place(kind, pool_of(clinic), there)
    station.z_m = USUAL_HEIGHT_M[kind]
    _in_order(there)
    station.save()
    Camera.objects.create(station=station, name=station.name)
    record(action="station.add", by=by, subject=station, club=clinic.club, detail={"kind": kind})
    return station


@transaction.atomic
def change_station(*, station: Station, values: Mapping[str, Any], by: User | None) -> Station:
    """What somebody says of a station and its camera, by field name (`FIELDS`); what is not
    among them stays as it is. Another kind comes with that kind's usual height, and with a place
    where one of it may stand. BadInput names every field that cannot be so."""
    row = _row(station)
    unknown = [(str(name), _("is not known here.")) for name in values if name not in FIELDS]
    raise_if_any(list(unknown))
    before = {name: getattr(row, name) for name in values}
    for name, value in values.items():
        setattr(row, name, _tidy(_FIELD[name], value))
    _check(row, list(values))
    changed = [name for name in values if getattr(row, name) != before[name]]
    if not changed:
        return row
    if "kind" in changed:
        row.z_m = USUAL_HEIGHT_M[row.kind]
        there = moved(stand_of(row), 0.0, 0.0, pool_of(row.clinic))
        row.x_m, row.y_m = there.x_m, there.y_m
    row.save()
    detail = {"fields": changed}
    record(action="station.change", by=by, subject=row, club=row.clinic.club, detail=detail)
    return row


@transaction.atomic
def remove_station(*, station: Station, by: User | None) -> None:
    """BadInput: it has recordings or uploads, it is the last one, the clinic is closed."""
    row = _row(station)
    if is_used(row):
        told = _("%(name)s has recordings already, so it stays.", name=row.name)
        raise BadInput([("", told)])
    others = list(row.clinic.stations.exclude(pk=row.pk))
    if not others:
        raise BadInput([("", _("A clinic has at least one station. Add another one first."))])
    record(action="station.remove", by=by, subject=row, club=row.clinic.club)
    row.delete()
    _in_order(others)


def is_used(station: Station) -> bool:
    """Something was filmed there, or is being brought in. Up to three queries."""
    rows = (station.recordings, station.uploads, station.clips)
    return any(related.exists() for related in rows)


def filmed_at(clinic: Clinic) -> set[uuid.UUID]:
    """The stations of which there are recordings: where they stand counts for the clock fit."""
    return set(clinic.stations.filter(recordings__isnull=False).values_list("pk", flat=True))


def _locked(clinic: Clinic) -> Clinic:
    row = Clinic.objects.select_for_update().get(pk=clinic.pk)
    if row.state == Clinic.State.CLOSED:
        raise BadInput([("", _("This clinic is closed; its stations stay as they are."))])
    return row


def _row(station: Station) -> Station:
    """The row anew, in its clinic, which is locked."""
    clinic = _locked(station.clinic)
    row = Station.objects.filter(pk=station.pk, clinic=clinic).first()
    if row is None:
        raise BadInput([("", _("This station has been removed meanwhile."))])
    row.clinic = clinic
    return row


def _tidy(field: models.Field[Any, Any], value: Any) -> Any:
    if isinstance(value, str):
        value = value.strip()
    return None if value == "" and field.null else value


def _check(station: Station, names: Iterable[str]) -> None:
    errors: Errors = []
    for name in names:
        value = getattr(station, name)
        if isinstance(value, float) and not math.isfinite(value):
            errors.append((name, _("is no number.")))
    left_out = [name for name in _FIELD if name not in set(names) - dict(errors).keys()]
    try:
        station.clean_fields(exclude=left_out)
    except ValidationError as refused:
        told = refused.message_dict
        errors += [(name, sentence) for name, sentences in told.items() for sentence in sentences]
    if station.bit_rate and station.bit_rate not in {rate.key for rate in BIT_RATES}:
        errors.append(("bit_rate", _("is no recording mode that is known here.")))
    raise_if_any(errors)


def _free_slug(name: str, taken: set[str]) -> str:
    stem = slugify(name)[:40].strip("-") or "station"
    tries = (stem, *(f"{stem}-{n}" for n in range(2, len(taken) + 3)))
    return next(slug for slug in tries if slug not in taken)


def usual_place_m(kind: str, pool: Pool) -> tuple[float, float]:
    """Where a station of this kind usually stands: common practice, no source."""
    if kind == Station.Kind.UNDERWATER:
        return pool.course_m / 2, min(ROPE * pool.lane_m, pool.width_m)
    if kind == Station.Kind.TURN_WINDOW:
        return pool.course_m, pool.swum_y_m
    if kind == Station.Kind.DECK:
        return min(DECK_PLACE_M, pool.course_m), -2.0
    return 2.5, -2.0


def _free_place(kind: str, pool: Pool, there: list[Station]) -> tuple[float, float]:
    """Beside those that stand on the usual place, so that their marks do not hide each other."""
    x_m, y_m = usual_place_m(kind, pool)
    step_m = -APART_M if x_m > pool.course_m / 2 else APART_M
    for _try in range(MOST):
        if all(math.dist((x_m, y_m), (one.x_m, one.y_m)) >= APART_M / 2 for one in there):
            break
        if kind == Station.Kind.TURN_WINDOW:
            y_m += APART_M
        else:
            x_m += step_m
    low_m, high_m = -DECK_M, pool.course_m + DECK_M
    return round(min(max(x_m, low_m), high_m), 2), round(min(y_m, pool.width_m), 2)


def _in_order(stations: list[Station]) -> None:
    """1, 2, 3, … as they stand."""
    for order, station in enumerate(stations, start=1):
        if station.order != order:
            Station.objects.filter(pk=station.pk).update(order=order)
