"""A clinic's measures as a data package: a ZIP with tidy tables and what their columns mean."""

from __future__ import annotations

import io
import json
import uuid
import zipfile
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from django.utils import timezone

from clinics.compute.time import TICKS_PER_S, iso_utc
from clinics.models import Swim
from feedback.actions import measures_out_schema as schema
from feedback.actions.frames import swim_s_at
from feedback.actions.measured import measured_many, zone_of
from feedback.actions.measures_out import (
    DECIMALS,
    number_out,
    start_u95_s,
    swims_out,
    u95_out,
)
from feedback.compute.measuring.measure import DEFINITIONS
from feedback.compute.measuring.notation import claim
from feedback.compute.measuring.turns import TurnZone
from feedback.compute.measuring.whole import Measured
from feedback.models import Mark
from portal.csv_out import csv_text

if TYPE_CHECKING:
    from clinics.models import Clinic
    from portal.models import User

WITHOUT_NAMES = (
    "Swimmers have their numbers, not their names: who has the clinic's start list knows who "
    "they are."
)
WITH_NAMES = "With the swimmers' names."
SAYS = (
    "Measures of the swims of one clinic, computed from marks that people placed on frames. "
    "They are about people: keep them as carefully as the films, and delete them when they are "
    "no longer needed. {names}"
)


def data_package(clinic: Clinic, user: User, *, names: bool = False) -> tuple[bytes, list[Swim]]:
    """The ZIP and the swims that are in it: those that were passed on to the user as coach."""
    swims = swims_out(clinic, user)
    seen = Mark.objects.visible_to(user)
    measured = measured_many(swims, seen, by=user)
    keys = {swim.pk: f"{swim.entry.number}-{swim.go}" for swim in swims}
    marks = seen.filter(swim__in=keys).select_related(
        "swim", "recording__clock_fit", "recording__station"
    )
    ordered = sorted(marks, key=lambda mark: (mark.swim.start_at, str(mark.swim_id), _when(mark)))
    tables = (
        (
            schema.swims_table(names=names),
            _swims(swims, keys, measured, zone_of(clinic.club), names=names),
        ),
        (schema.MEASURES, _measures(swims, keys, measured)),
        (schema.MARKS, _marks(ordered, keys)),
        (schema.DEFINED, _definitions()),
    )
    return _zipped(clinic, tables, names=names), swims


def _when(mark: Mark) -> tuple[str, int, str, str]:
    return (str(mark.recording_id), mark.pts_ticks, mark.kind, str(mark.pk))


def _swims(
    swims: Sequence[Swim],
    keys: dict[uuid.UUID, str],
    measured: dict[uuid.UUID, Measured],
    zone: TurnZone,
    *,
    names: bool,
) -> Iterator[list[object]]:
    for swim in swims:
        entry, clinic = swim.entry, swim.entry.clinic
        yield [
            keys[swim.pk],
            entry.number,
            *([entry.swimmer.name] if names else []),
            entry.stroke,
            entry.start,
            entry.lane_group.name,
            swim.go,
            iso_utc(swim.start_at),
            swim.start_kind,
            start_u95_s(swim),
            clinic.course_m,
            clinic.distance_m,
            zone.in_m,
            zone.out_m,
            len(measured[swim.pk].wrong),
        ]


def _measures(
    swims: Sequence[Swim], keys: dict[uuid.UUID, str], measured: dict[uuid.UUID, Measured]
) -> Iterator[list[object]]:
    for swim in swims:
        for row, one in enumerate(measured[swim.pk].measures, start=1):
            yield [
                keys[swim.pk],
                row,
                one.key,
                one.number,
                one.at_m,
                number_out(one.quantity),
                u95_out(one.quantity),
                one.unit.value,
                claim(one.quantity).value,
            ]


def _marks(marks: Sequence[Mark], keys: dict[uuid.UUID, str]) -> Iterator[list[object]]:
    """Whoever placed them is a letter, in the order of the table: coaches are people, too."""
    people: dict[object, str] = {}
    counts: dict[uuid.UUID, int] = {}
    for mark in marks:
        counts[mark.swim_id] = counts.get(mark.swim_id, 0) + 1
        by = mark.placed_by_id
        fit = getattr(mark.recording, "clock_fit", None)
        at_s = swim_s_at(mark.swim, mark.recording, mark.pts_ticks)
        yield [
            keys[mark.swim_id],
            counts[mark.swim_id],
            mark.kind,
            f"{mark.recording.station.slug} {mark.recording.order}",
            _rounded(at_s),
            _rounded(mark.interval_ticks / TICKS_PER_S if mark.interval_ticks else None),
            _rounded(fit.u_ms / 1000 if fit and fit.u_ms is not None else None),
            mark.distance_m,
            mark.distance_u_m,
            mark.x,
            mark.y,
            people.setdefault(by, _letter(len(people))) if by else None,
        ]


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, DECIMALS)


def _letter(n: int) -> str:
    """
    >>> _letter(0), _letter(25), _letter(26)
    ('a', 'z', 'aa')
    """
    return (_letter(n // 26 - 1) if n >= 26 else "") + chr(ord("a") + n % 26)


def _definitions() -> Iterator[list[object]]:
    for one in DEFINITIONS.values():
        name, says = schema.in_english(one.name), schema.in_english(one.says)
        yield [one.key, name, says, one.unit.value, one.source]


def _zipped(
    clinic: Clinic,
    tables: Sequence[tuple[schema.Table, Iterator[list[object]]]],
    *,
    names: bool,
) -> bytes:
    files = [(table, csv_text(table.header, rows).encode()) for table, rows in tables]
    told = schema.descriptor(
        name=f"measures-{clinic.slug}",
        title=f"Measures: {clinic.name}, {clinic.date.isoformat()}",
        says=SAYS.format(names=WITH_NAMES if names else WITHOUT_NAMES),
        created=iso_utc(timezone.now()) or "",
        tables=files,
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("datapackage.json", json.dumps(told, ensure_ascii=False, indent=1))
        for table, content in files:
            archive.writestr(table.path, content)
    return out.getvalue()
