"""When each swimmer is expected at each station."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from clinics.compute.geometry import passes
from clinics.compute.rotation.types import ClinicHour, Goer, Key, Slot


@dataclass(frozen=True)
class StationAt:
    """A station: its kind as in geometry.py, `x_m` along the course from the start wall."""

    key: Key
    kind: str
    x_m: float


@dataclass(frozen=True)
class Due:
    """A swimmer's pass at a station, in seconds from the begin of the pool time: expected there
    at `at_s`, in picture from `from_s` to `to_s`. `what` as in geometry.Pass."""

    station: Key
    key: Key
    go_no: int
    pass_no: int
    what: str
    at_s: float
    from_s: float
    to_s: float


def expected_passes(
    hour: ClinicHour,
    goers: Iterable[Goer],
    slots: Iterable[Slot],
    stations: Iterable[StationAt],
) -> list[Due]:
    """All passes of these goes in order of time; a station that no go reaches has none.

    >>> hour, tomas = ClinicHour(25.0, 75.0, 600.0), Goer("Tomas", "A", 100.0)
    >>> slot, middle = Slot("Tomas", "A", 1, 60, 145.0), StationAt("deep", "underwater", 12.5)
    >>> [one.at_s for one in expected_passes(hour, [tomas], [slot], [middle])]
    [72.5, 97.5, 122.5]
    """
    by_key = {goer.key: goer for goer in goers}
    at = list(stations)
    due = [
        one
        for slot in slots
        for station in at
        for one in _at_station(hour, by_key[slot.key], slot, station)
    ]
    return sorted(due, key=lambda one: one.at_s)


def _at_station(hour: ClinicHour, goer: Goer, slot: Slot, station: StationAt) -> list[Due]:
    found = passes(
        kind=station.kind,
        x_m=station.x_m,
        course_m=hour.course_m,
        distance_m=hour.distance_m,
        pace_s_per_100m=goer.pace_s_per_100m,
    )
    return [
        Due(
            station=station.key,
            key=slot.key,
            go_no=slot.go_no,
            pass_no=one.pass_no,
            what=one.what,
            at_s=slot.start_s + one.at_s,
            from_s=slot.start_s + one.from_s,
            to_s=slot.start_s + one.to_s,
        )
        for one in found
    ]
