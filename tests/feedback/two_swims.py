"""A swim of three weeks earlier beside the cast's: another clinic, other cameras."""

from __future__ import annotations

import datetime as dt
from typing import Any

from clinics.models import Clinic, Clip, Entry, LaneGroup, Recording, Station, Swim, Swimmer
from feedback.actions.mark import place_mark
from feedback.models import Mark
from tests.cast import FIRST_START, Cast, make_clinic, make_clip, make_recording, make_station

EARLIER = FIRST_START - dt.timedelta(days=21)


def earlier_clinic(cast: Cast, **fields: Any) -> Clinic:
    clinic = make_clinic(cast.harbour, f"harbour-{Clinic.objects.count()}", "October clinic")
    Clinic.objects.filter(pk=clinic.pk).update(date=EARLIER.date(), **fields)
    clinic.refresh_from_db()
    return clinic


def film(cast: Cast, clinic: Clinic, kind: str, at: dt.datetime, **place: Any) -> Recording:
    """80 s that begin 20 s before `at`."""
    station = make_station(clinic, clinic.stations.count() + 1, kind, kind.capitalize(), kind)
    if place:
        Station.objects.filter(pk=station.pk).update(**place)
        station.refresh_from_db()
    return make_recording(station, cast.crew, zero_at=at - dt.timedelta(seconds=20), frames=2000)


def enter(clinic: Clinic, swimmer: Swimmer, number: int = 7, stroke: str = "freestyle") -> Entry:
    group, _ = LaneGroup.objects.get_or_create(clinic=clinic, name="A", defaults={"order": 1})
    return Entry.objects.create(
        clinic=clinic,
        swimmer=swimmer,
        number=number,
        lane_group=group,
        order=number,
        stroke=stroke,
        pace_s_per_100m=92.0,
    )


def swim_of(cast: Cast, entry: Entry, start_at: dt.datetime = EARLIER, **fields: Any) -> Swim:
    """Passed on and given, unless `fields` say otherwise."""
    told = {
        "entry": entry,
        "start_at": start_at,
        "start_kind": "heard",
        "start_u_ms": 4.0,
        "person": "confirmed",
        "person_by": cast.checker,
        "others_recorded_at": FIRST_START,
        "others_recorded_by": cast.checker,
        "passed_at": FIRST_START,
        "passed_by": cast.checker,
        "given_at": FIRST_START,
        "given_by": cast.coach,
    }
    return Swim.objects.create(**{**told, **fields})


def last_time(cast: Cast, *, stroke: str = "freestyle", **fields: Any) -> Swim:
    """Tomas three weeks earlier: start side as now, underwater 1.5 m farther on."""
    clinic = earlier_clinic(cast)
    entry = enter(clinic, cast.swims["tomas"].entry.swimmer, stroke=stroke)
    swim = swim_of(cast, entry, **fields)
    make_clip(swim, film(cast, clinic, "start-side", swim.start_at), 1, from_s=-1.0)
    make_clip(swim, film(cast, clinic, "underwater", swim.start_at, x_m=14.0), 1, from_s=6.0)
    return swim


def marked(cast: Cast, clip: Clip, frame: int, kind: str = "breakout", by: Any = None) -> Mark:
    clip = Clip.objects.select_related("swim__entry__clinic__club", "recording").get(pk=clip.pk)
    return place_mark(swim=clip.swim, by=by or cast.coach, clip=clip, frame=frame, kind=kind)
