"""What a plan says, once read."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field

# Fields of a row, by name, of which a plan may say some: what is not among them stays as it is.
Said = Mapping[str, object]


@dataclass(frozen=True)
class WindowSpec:
    """A station's own window for one pass, in swim_s."""

    pass_no: int
    from_s: float
    to_s: float


@dataclass(frozen=True)
class StationSpec:
    """x along the course from the start wall, y across from the edge of the swum lane's side
    (positive: over the water), z above the water; metres. `planned`: what is said of the camera
    (angle_deg, port, bearing_deg, fixed_mount, bit_rate, card_gb, battery_min)."""

    slug: str
    name: str
    kind: str
    x_m: float
    y_m: float
    z_m: float
    hears_start: bool
    windows: tuple[WindowSpec, ...]
    camera: str
    planned: Said = field(default_factory=dict)


@dataclass(frozen=True)
class TeamSpec:
    """`station`: slug of the one that a camera, operator or watcher is at; None: at any.
    `until`: the last day of a visitor; None: nobody has said."""

    email: str
    name: str
    duty: str | None
    role: str
    station: str | None = None
    until: dt.date | None = None


@dataclass(frozen=True)
class PlanFile:
    """`pool_hour` and `venue` are None where the plan has no such part. Without `team` the plan
    says nothing of who does what."""

    slug: str
    name: str
    club: str
    venue: str
    date: dt.date
    time_zone: str
    course_m: float
    distance_m: float
    air_temperature_c: float
    give: str
    sound_for_swimmers: bool
    roster: str | None
    starter_x_m: float
    starter_y_m: float
    stations: tuple[StationSpec, ...]
    lane_groups: tuple[str, ...]
    team: tuple[TeamSpec, ...]
    pool_hour: Said | None = None
    venue_sheet: Said | None = None
