"""A clinic's pool hour: its timetable, and where it stands on the day.

Both are computed each time they are asked for, from the running order, the hour as planned, the
start log and what was wished for on the day; nothing computed is kept. Swimmers are known by
their number, lane groups by their name.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from django.db import transaction

from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.compute.checks import Errors, raise_if_any, within
from clinics.compute.rotation import (
    Capacity,
    ClinicHour,
    Due,
    Goer,
    Slot,
    StationAt,
    Timetable,
    Way,
    capacity,
    expected_passes,
    plan_hour,
    ways_to_fit,
)
from clinics.models import Clinic, Entry, PoolHour, Station
from portal.actions.audit import record
from portal.models import User

LIMITS = {
    "minutes": (1, 1440),
    "briefing_s": (0, 3600),
    "change_over_s": (0, 3600),
    "climbing_out_s": (0, 600),
    "reserve_s": (0, 86_400),
    "rest_s": (0, 86_400),
}


@dataclass(frozen=True)
class Planned:
    """`timetable` has seconds from the begin of the pool time, `at` makes clinic time of them.
    Its goers' keys are numbers, its groups names; `entries` by number, in running order."""

    clinic: Clinic
    hour: PoolHour
    timetable: Timetable
    entries: dict[int, Entry]

    @cached_property
    def begins_at(self) -> dt.datetime:
        return self.hour.begins_at.astimezone(dt.UTC)  # so that adding seconds adds seconds

    def at(self, seconds: float) -> dt.datetime:
        """The instant, in the clinic's time zone."""
        instant = self.begins_at + dt.timedelta(seconds=seconds)
        return instant.astimezone(self.clinic.zone)

    def seconds(self, instant: dt.datetime) -> float:
        """From the begin of the pool time; negative before it."""
        return (instant - self.begins_at).total_seconds()

    @cached_property
    def slots(self) -> dict[int, Slot]:
        """The first go of each number."""
        return {int(str(slot.key)): slot for slot in self.timetable.slots}

    def starts_at(self, number: int) -> dt.datetime:
        return self.at(self.slots[number].start_s)

    @cached_property
    def capacity(self) -> Capacity:
        return capacity(self.timetable)

    @cached_property
    def ways(self) -> list[Way]:
        """What would make it fit; empty if it does."""
        return ways_to_fit(self.timetable)

    def passes(self, stations: list[Station]) -> list[Due]:
        """When each swimmer is expected at each station (by its key), in order of time."""
        places = [StationAt(station.pk, station.kind, station.x_m) for station in stations]
        plan = self.timetable
        return expected_passes(plan.hour, plan.goers, plan.slots, places)


def planned(clinic: Clinic) -> Planned | None:
    """The timetable as planned; None while the pool hour or the running order is not known.
    Two queries. BadInput names what cannot be planned."""
    hour = PoolHour.objects.filter(clinic=clinic).first()
    if hour is None:
        return None
    hour.clinic = clinic
    in_order = clinic.entries.select_related("swimmer", "lane_group").order_by("order", "number")
    entries = sorted(in_order, key=lambda one: (one.lane_group.order, one.lane_group.name))
    if not entries:
        return None
    goers = [Goer(one.number, one.lane_group.name, one.pace_s_per_100m) for one in entries]
    timetable = plan_hour(clinic_hour(clinic, hour), goers)
    return Planned(clinic, hour, timetable, {entry.number: entry for entry in entries})


def clinic_hour(clinic: Clinic, hour: PoolHour) -> ClinicHour:
    return ClinicHour(
        course_m=clinic.course_m,
        distance_m=clinic.distance_m,
        pool_time_s=60.0 * hour.minutes,
        briefing_s=float(hour.briefing_s),
        change_over_s=float(hour.change_over_s),
        climbing_out_s=float(hour.climbing_out_s),
        reserve_s=float(hour.reserve_s),
        rest_s=float(hour.rest_s),
        briefs_on_deck=hour.briefs_on_deck,
    )


@transaction.atomic
def set_pool_hour(*, clinic: Clinic, values: Mapping[str, object], by: User | None) -> PoolHour:
    """When the pool is the clinic's and how long what takes; what is not in `values` stays as it
    was, or has the usual length. BadInput names every field that cannot be so."""
    clinic = Clinic.objects.select_for_update().get(pk=clinic.pk)
    if clinic.state == Clinic.State.CLOSED:
        raise BadInput([("", _("This clinic is closed; its pool hour stays as it was."))])
    hour = PoolHour.objects.filter(clinic=clinic).first() or PoolHour(clinic=clinic)
    for name, value in values.items():
        if name not in {*LIMITS, "begins", "briefs_on_deck"}:
            raise BadInput([(name, _("is nothing that a pool hour has."))])
        setattr(hour, name, value)
    _check(hour)
    hour.save()
    record(action="pool-hour.set", by=by, subject=clinic, club=clinic.club)
    return hour


def _check(hour: PoolHour) -> None:
    errors: Errors = []
    if not isinstance(hour.begins, dt.time):
        errors.append((_label("begins"), _("say from when the pool is yours, as 10:30.")))
    for name, (low, high) in LIMITS.items():
        value = getattr(hour, name)
        if not isinstance(value, int):
            errors.append((_label(name), _("must be a whole number.")))
        else:
            within(value, low, high, _label(name), errors)
    if not errors and hour.reserve_s >= 60 * hour.minutes:
        told = _("must be less than the %(minutes)s minutes of the pool.", minutes=hour.minutes)
        errors.append((_label("reserve_s"), told))
    raise_if_any(errors)


def _label(name: str) -> str:
    return str(PoolHour._meta.get_field(name).verbose_name)  # type: ignore[union-attr]
