"""Clinics with many swimmers, for the tests of the pool hour."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from clinics.models import Clinic, Entry, LaneGroup, PoolHour, StartLogEntry, Swim, Swimmer
from portal.models import Club
from tests.cast import DAY, make_clinic

SIZES_OF_40 = (6, 6, 6, 6, 6, 5, 5)
SIZES_OF_60 = (6,) * 10
BEGINS = dt.time(10, 30)
BEGINS_AT = dt.datetime.combine(DAY, BEGINS, tzinfo=dt.UTC)  # Dublin in November


def hour_of(clinic: Clinic, **values: object) -> PoolHour:
    return PoolHour.objects.create(clinic=clinic, begins=BEGINS, **values)


def crowded(club: Club, sizes: Sequence[int], paces: Sequence[float], slug: str = "") -> Clinic:
    """A clinic with groups of these sizes, named 1, 2, …; paces by number."""
    clinic = make_clinic(club, slug or f"crowd-{sum(sizes)}", f"{sum(sizes)} swimmers")
    count = sum(sizes)
    swimmers = Swimmer.objects.bulk_create(
        Swimmer(club=club, name=f"Swimmer {number}") for number in range(1, count + 1)
    )
    groups = LaneGroup.objects.bulk_create(
        LaneGroup(clinic=clinic, name=str(n), order=n) for n in range(1, len(sizes) + 1)
    )
    of = [group for group, size in zip(groups, sizes, strict=True) for _ in range(size)]
    Entry.objects.bulk_create(
        Entry(
            clinic=clinic,
            swimmer=swimmers[n],
            number=n + 1,
            lane_group=of[n],
            order=n + 1,
            stroke="freestyle",
            pace_s_per_100m=paces[n],
        )
        for n in range(count)
    )
    return clinic


def even_paces(count: int, fastest_s: float, slowest_s: float) -> list[float]:
    return [fastest_s + n * (slowest_s - fastest_s) / max(count - 1, 1) for n in range(count)]


def tap(clinic: Clinic, number: int, after_s: float, outcome: str = "away") -> StartLogEntry:
    """A line of the start log, so long after the begin of the pool time, and its swim."""
    entry = clinic.entries.get(number=number)
    at = BEGINS_AT + dt.timedelta(seconds=after_s)
    line = StartLogEntry.objects.create(
        clinic=clinic,
        client_id=f"phone-{number}-{after_s}-{outcome}",
        entry=entry,
        instant=at,
        outcome=outcome,
    )
    if outcome == "away":
        go = entry.swims.count() + 1
        Swim.objects.create(entry=entry, go=go, log_entry=line, start_at=at, start_u_ms=150)
    return line
