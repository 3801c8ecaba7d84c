"""What a new clinic takes along from an earlier one of its club: stations with their cameras, names
of lane groups, who held which post, tasks, the venue sheet, how long what takes.

Never swimmers, sign-ups, consents, permissions, cautions read or ticks: those belong to one
occasion and its people. Nor areas that are always covered: a camera stands a little differently
each time, and a cover that misses is worse than none that anybody relies on.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.db import transaction

from clinics.actions.people_at_posts_visits import day_of_work, on_that_day
from clinics.actions.pool_hour import LIMITS, set_pool_hour
from clinics.actions.tasks_acts import copy_tasks
from clinics.actions.venue import copy_venue, has_something_to_copy
from clinics.compute.sight import WALL_ROOM_M
from clinics.models import Camera, Clinic, Duty, LaneGroup, PoolHour, Station
from portal.actions.audit import record
from portal.models import User

HOUR = (*LIMITS, "begins", "briefs_on_deck")
STATION = tuple(
    field.name for field in Station._meta.concrete_fields if field.name not in ("id", "clinic")
)


@dataclass(frozen=True)
class Copied:
    """How much came along. `left_out`: names of who had a post there and will not work for the
    club on the new day."""

    stations: int
    lane_groups: int
    duties: int
    left_out: tuple[str, ...]
    tasks: int
    venue: bool
    pool_hour: bool


@transaction.atomic
def copy_clinic(*, to: Clinic, from_clinic: Clinic, by: User | None) -> Copied:
    """The caller fetched both through the fence, and made `to` a moment ago."""
    to.starter_x_m, to.starter_y_m = from_clinic.starter_x_m, from_clinic.starter_y_m
    to.save(update_fields=["starter_x_m", "starter_y_m"])
    stations = _copy_stations(to, from_clinic)
    groups = [
        LaneGroup(clinic=to, name=group.name, order=group.order)
        for group in from_clinic.lane_groups.all()
    ]
    LaneGroup.objects.bulk_create(groups)
    duties, left_out = _copy_duties(to, from_clinic, stations)
    venue = has_something_to_copy(to=to, from_clinic=from_clinic)
    if venue:
        copy_venue(to=to, from_clinic=from_clinic, by=by)
    copied = Copied(
        stations=len(stations),
        lane_groups=len(groups),
        duties=duties,
        left_out=left_out,
        tasks=copy_tasks(to=to, from_clinic=from_clinic),
        venue=venue,
        pool_hour=_copy_hour(to, from_clinic, by),
    )
    detail = {"from": str(from_clinic.pk), "stations": copied.stations, "duties": copied.duties}
    record(action="plan.copy", by=by, subject=to, club=to.club, detail=detail)
    return copied


def _copy_stations(to: Clinic, from_clinic: Clinic) -> dict[str, Station]:
    """By slug. Windows are in seconds from the start: they hold only for the same go."""
    same_go = (to.course_m, to.distance_m) == (from_clinic.course_m, from_clinic.distance_m)
    made = {}
    for station in from_clinic.stations.prefetch_related("cameras"):
        values: dict[str, Any] = {name: getattr(station, name) for name in STATION}
        values["x_m"] = _along(station.x_m, from_clinic.course_m, to.course_m)
        if not same_go:
            values["windows"] = []
        new = Station.objects.create(clinic=to, **values)
        cameras = [Camera(station=new, name=camera.name) for camera in station.cameras.all()]
        Camera.objects.bulk_create(cameras)
        made[new.slug] = new
    return made


def _along(x_m: float, was_m: float, is_m: float) -> float:
    """What stood at the far wall stands there in a course of another length, too."""
    if x_m >= was_m - WALL_ROOM_M:
        return is_m + (x_m - was_m)
    return min(x_m, is_m)


def _copy_duties(
    to: Clinic, from_clinic: Clinic, stations: dict[str, Station]
) -> tuple[int, tuple[str, ...]]:
    """Of whoever will work for the club on the day; who checks stands in the consent text."""
    working = to.club.memberships.filter(on_that_day(day_of_work(to)), user__is_active=True)
    there = set(working.values_list("user_id", flat=True))
    rows, left_out = [], set()
    for duty in from_clinic.duties.select_related("user", "station"):
        if duty.user_id not in there:
            left_out.add(str(duty.user))
            continue
        station = stations[duty.station.slug] if duty.station else None
        rows.append(Duty(clinic=to, user=duty.user, kind=duty.kind, station=station))
    return len(Duty.objects.bulk_create(rows)), tuple(sorted(left_out))


def _copy_hour(to: Clinic, from_clinic: Clinic, by: User | None) -> bool:
    hour = PoolHour.objects.filter(clinic=from_clinic).first()
    if hour is not None:
        set_pool_hour(clinic=to, values={name: getattr(hour, name) for name in HOUR}, by=by)
    return hour is not None
