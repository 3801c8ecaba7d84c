"""The demo's pool hour belongs to its start log."""

from __future__ import annotations

import datetime as dt

from clinics.actions.pool_hour_day import day_of
from clinics.management.demo_hour import hour_in_demo
from clinics.models import Clinic, DayWish, PoolHour, StationWord
from tests.cast import Cast, make_station
from tests.clinics.hour_tools import BEGINS_AT, crowded, tap

# Second of each start in the demo's autumn clinic (clinics/management/demo, seed 1), from 10:00.
STARTS_S = (8.4, 49.8, 85.4, 122.3, 159.2, 189.2, 228.7, 269.9, 302.4, 343.3, 377.8, 412.4)
PACES = [52.0, 55.0, 50.0, 54.0, 51.0, 53.0, 56.0, 51.0, 53.0, 50.0, 54.0, 50.0]


def test_demo_fits_and_goes_on_time(cast: Cast) -> None:
    clinic = crowded(cast.harbour, (6, 6), PACES)
    make_station(clinic, 1, "start", "Start side", "start-side")
    for number, start_s in enumerate(STARTS_S, start=1):
        tap(clinic, number, start_s)
    for _ in range(2):
        hour_in_demo(clinic, by=cast.admin)
    hour = PoolHour.objects.get()
    assert (hour.begins, hour.minutes) == (dt.time(10, 29), 10)
    found = day_of(clinic, BEGINS_AT + dt.timedelta(seconds=250), look_back=True)
    assert found is not None and found.planned.timetable.fits
    assert abs(found.slip_s) < 30
    assert StationWord.objects.count() == 2 and DayWish.objects.count() == 1


def test_clinic_without_swims_gets_no_hour(cast: Cast) -> None:
    clinic = crowded(cast.harbour, (1,), [80.0])
    hour_in_demo(clinic)
    assert not PoolHour.objects.filter(clinic=Clinic.objects.get(pk=clinic.pk)).exists()
