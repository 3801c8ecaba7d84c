"""A clinic's measures as one table for its coaches: a row a swim, the same columns for every
swim of the clinic, each measure with its ± beside it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction

from clinics.compute.time import iso_utc
from clinics.models import Swim
from feedback.actions.measured import measured_many, zone_of
from feedback.compute.measuring.course import Course
from feedback.compute.measuring.measure import DEFINITIONS, Unit
from feedback.compute.measuring.splits import FROM_START_M
from feedback.compute.measuring.turns import TurnZone
from feedback.compute.measuring.uncertain import Quantity
from feedback.compute.measuring.whole import Measured
from feedback.models import Mark
from portal.actions import audit

if TYPE_CHECKING:
    from clinics.models import Clinic
    from portal.models import User

DECIMALS = 4  # a frame is 0.004 s at best; the ± says how many of them mean anything
U95_OF_BELL = 1.959964
UNIT_NAMES = {
    Unit.S: "s",
    Unit.M: "m",
    Unit.M_PER_S: "m_per_s",
    Unit.PER_MIN: "per_min",
    Unit.PER_S: "hz",
    Unit.M2_PER_S: "m2_per_s",
    Unit.PERCENT: "percent",
    Unit.DEG: "deg",
    Unit.COUNT: "",
}
START_KEYS = (
    "reaction-time",
    "block-time",
    "movement-time",
    "flight-time",
    "flight-distance",
    "time-to-entry",
    "entry-time",
    "breakout-time",
)
LENGTH_KEYS = (
    "underwater-time",
    "underwater-distance",
    "split",
    "length-time",
    "length-speed",
    "swimming-speed",
    "stroke-rate",
    "stroke-count",
    "stroke-length",
    "stroke-index",
)
WALL_KEYS = (
    "turn-time",
    "turn-in",
    "turn-rotation",
    "turn-contact",
    "turn-wall",
    "push-off-time",
    "turn-out",
)
ABOUT_SWIM = (
    "number",
    "name",
    "stroke",
    "start",
    "group",
    "go",
    "start_at",
    "start_kind",
    "start_s_u95",
    "turn_from_m",
    "turn_to_m",
    "marks",
    "to_look_at",
)


@dataclass(frozen=True)
class Column:
    """One measure: of which definition, of which length or wall, to which distance."""

    name: str
    key: str
    number: int | None = None
    at_m: float | None = None

    @property
    def counts(self) -> bool:
        """A count is what it is, and has no ±."""
        return DEFINITIONS[self.key].unit is Unit.COUNT


def column_name(key: str, part: str = "") -> str:
    """With its unit at the end; “breakout-time” in seconds is `breakout_s`.

    >>> column_name("breakout-time"), column_name("stroke-rate", "length_2")
    ('breakout_s', 'stroke_rate_length_2_per_min')
    """
    stem = key.removesuffix("-time") if key == "breakout-time" else key
    parts = (stem.replace("-", "_"), part, UNIT_NAMES[DEFINITIONS[key].unit])
    return "_".join(one for one in parts if one)


def to_distance_name(key: str, at_m: float) -> str:
    """
    >>> to_distance_name("time-to-distance", 10.0), to_distance_name("speed-to-distance", 7.5)
    ('time_to_10_m_s', 'speed_to_7.5_m_m_per_s')
    """
    return column_name(key).replace("distance", f"{at_m:g}_m")


def columns_of(clinic: Clinic) -> list[Column]:
    """All that may be measured in this clinic's goes, whatever was marked: a second table of it,
    taken next month, has the same columns."""
    course = Course(clinic.course_m, clinic.distance_m, stroke="", start="")
    turns = course.walls - (1 if course.walls == course.lengths else 0)  # the last is the finish
    columns = [Column(column_name(key), key) for key in START_KEYS]
    for key in ("time-to-distance", "speed-to-distance"):
        columns += [Column(to_distance_name(key, at_m), key, None, at_m) for at_m in FROM_START_M]
    for number in range(1, course.lengths + 1):
        columns += [
            Column(column_name(key, f"length_{number}"), key, number) for key in LENGTH_KEYS
        ]
    for number in range(1, turns + 1):
        columns += [Column(column_name(key, f"wall_{number}"), key, number) for key in WALL_KEYS]
    return [*columns, Column(column_name("fade"), "fade")]


def header_of(columns: list[Column]) -> list[str]:
    header = list(ABOUT_SWIM)
    for column in columns:
        header.append(column.name)
        if not column.counts:
            header.append(f"{column.name}_u95")
    return header


def swims_out(clinic: Clinic, user: User) -> list[Swim]:
    """Swims of the clinic that were passed on to the user as coach, by number and go."""
    swims = Swim.objects.coached_by(user).filter(entry__clinic=clinic)
    swims = swims.select_related("entry__clinic__club", "entry__swimmer", "entry__lane_group")
    return list(swims.order_by("entry__number", "go"))


def coach_table(clinic: Clinic, user: User) -> tuple[list[str], list[list[object]], list[Swim]]:
    """Header, rows, and the swims in them. A bounded number of queries, however many swims."""
    swims, columns, zone = swims_out(clinic, user), columns_of(clinic), zone_of(clinic.club)
    measured = measured_many(swims, Mark.objects.visible_to(user), by=user)
    rows = [
        [*_about(swim, measured[swim.pk], zone), *_cells(measured[swim.pk], columns)]
        for swim in swims
    ]
    return header_of(columns), rows, swims


def _about(swim: Swim, measured: Measured, zone: TurnZone) -> list[object]:
    entry = swim.entry
    return [
        entry.number,
        entry.swimmer.name,
        entry.stroke,
        entry.start,
        entry.lane_group.name,
        swim.go,
        iso_utc(swim.start_at),
        swim.start_kind,
        start_u95_s(swim),
        zone.in_m,
        zone.out_m,
        marks_in(measured),
        len(measured.wrong),
    ]


def start_u95_s(swim: Swim) -> float:
    """The start instant is normal about what was heard or tapped."""
    return round(U95_OF_BELL * swim.start_u_ms / 1000, DECIMALS)


def marks_in(measured: Measured) -> int:
    """How many marks its measures rest on."""
    return len({key for one in measured.measures for key in one.marks})


def _cells(measured: Measured, columns: list[Column]) -> Iterator[object]:
    for column in columns:
        found = measured.get(column.key, column.number, column.at_m)
        yield number_out(found.quantity) if found else None
        if not column.counts:
            yield u95_out(found.quantity) if found else None


def number_out(quantity: Quantity) -> float | int:
    """Whole numbers without a point."""
    value = round(quantity.value, DECIMALS)
    return int(value) if value.is_integer() and not quantity.parts else value


def u95_out(quantity: Quantity) -> float:
    return round(quantity.half_width_95, DECIMALS)


@transaction.atomic
def note_taken(*, clinic: Clinic, by: User, swims: Sequence[Swim], kind: str, names: bool) -> None:
    """Figures about people left the site: the record says who took them, and whose they are, so
    that swimmers find it among those who saw their swims (`seen.py`)."""
    whose = sorted(str(swim.pk) for swim in swims)
    detail = {"swims": len(whose), "kind": kind, "names": names, "of": whose}
    audit.record(action="measures.take", by=by, subject=clinic, club=clinic.club, detail=detail)
