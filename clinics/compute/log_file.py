"""Reads a start log taken elsewhere: one row for each start, no-show, false start, or swimmer
who was passed over for now."""

from __future__ import annotations

import datetime as dt
import hashlib
import zoneinfo
from collections import Counter
from collections.abc import Callable, Collection
from dataclasses import dataclass

from clinics.compute.errors import say as _
from clinics.compute.tables import Complaints, Row, one_of, read_table, tidy, unprintable

REQUIRED = ("instant", "swimmer")
OPTIONAL = ("outcome", "note")
ALSO_CALLED = {"number": "swimmer", "time": "instant"}
OUTCOMES = {name: name for name in ("away", "no-show", "false-start", "not-filmed", "skipped")}
TOO_CLOSE_S = 8.0  # nobody goes twice within this; the AWAY button is locked for as long


@dataclass(frozen=True)
class LogRow:
    """One line. `instant` is aware; `client_id` is the same whenever the row is taken in."""

    row: int
    client_id: str
    instant: dt.datetime
    number: int
    outcome: str
    note: str


def parse_log(
    text: str,
    *,
    zone: zoneinfo.ZoneInfo,
    date: dt.date,
    numbers: Collection[int],
    source: str = "start log",
) -> list[LogRow]:
    """All rows in order of time, or BadInput that names every bad cell.

    Instants without an offset are in `zone`; `numbers` are those of the running order.
    """
    complaints = Complaints(source)
    rows = read_table(
        text,
        complaints=complaints,
        required=REQUIRED,
        optional=OPTIONAL,
        also_called=ALSO_CALLED,
    )
    seen: Counter[str] = Counter()
    parsed = [_parse_row(row, complaints, zone, date, numbers, seen) for row in rows]
    complaints.raise_if_any()
    return sorted((row for row in parsed if row is not None), key=lambda row: row.instant)


def _parse_row(
    row: Row,
    complaints: Complaints,
    zone: zoneinfo.ZoneInfo,
    date: dt.date,
    numbers: Collection[int],
    seen: Counter[str],
) -> LogRow | None:
    def complain_of(column: str) -> Callable[[str], None]:
        return lambda sentence: complaints.add(sentence, row=row.number, column=column)

    instant = read_instant(row.cells["instant"], zone, complain_of("instant"))
    if instant is not None:
        _on_the_day(instant, zone, date, row.cells["instant"], complain_of("instant"))
    number = _known_number(row.cells["swimmer"], numbers, complain_of("swimmer"))
    outcome = one_of(row.cells.get("outcome") or "away", OUTCOMES, complain_of("outcome"))
    note = tidy(row.cells.get("note", ""))
    if len(note) > 400 or unprintable(note):
        complain_of("note")(_("is longer than 400 characters, or holds some that cannot be shown."))
    if instant is None or number is None or outcome is None:
        return None
    content = f"{instant.astimezone(dt.UTC).isoformat()}|{number}|{outcome}|{note}"
    seen[content] += 1
    digest = hashlib.sha256(content.encode()).hexdigest()[:32]
    return LogRow(row.number, f"file-{digest}-{seen[content]}", instant, number, outcome, note)


def read_instant(
    value: str, zone: zoneinfo.ZoneInfo, complain: Callable[[str], None]
) -> dt.datetime | None:
    """An ISO 8601 instant; without an offset it is local time in `zone`.

    Local times that the clocks skip or show twice are refused, since guessing would put
    a start an hour off.
    """
    try:
        instant = dt.datetime.fromisoformat(value.strip())
    except ValueError:
        instant = None
    if instant is None or len(value.strip()) <= 10:
        complain(
            _(
                "“%(value)s” is not an instant. Write it as 2026-11-14T10:12:30.250, "
                "in the clinic's time zone (%(zone)s), or with an offset as +00:00.",
                value=value,
                zone=zone.key,
            )
        )
        return None
    if instant.tzinfo is not None:
        return instant
    return _in_zone(instant, zone, value, complain)


def _in_zone(
    local: dt.datetime, zone: zoneinfo.ZoneInfo, value: str, complain: Callable[[str], None]
) -> dt.datetime | None:
    placed = local.replace(tzinfo=zone, fold=0)
    later = local.replace(tzinfo=zone, fold=1)
    back = placed.astimezone(dt.UTC).astimezone(zone).replace(tzinfo=None)
    if back != local:
        complain(
            _(
                "“%(value)s” does not exist in %(zone)s: the clocks went forward over it. "
                "Write the instant with its offset from UTC.",
                value=value,
                zone=zone.key,
            )
        )
        return None
    if placed.utcoffset() != later.utcoffset():
        complain(
            _(
                "“%(value)s” came twice in %(zone)s: the clocks went back over it. "
                "Write the instant with its offset from UTC.",
                value=value,
                zone=zone.key,
            )
        )
        return None
    return placed


def _on_the_day(
    instant: dt.datetime,
    zone: zoneinfo.ZoneInfo,
    date: dt.date,
    value: str,
    complain: Callable[[str], None],
) -> None:
    if abs((instant.astimezone(zone).date() - date).days) > 1:
        day = date.isoformat()
        complain(_("“%(value)s” is not on the day of the clinic, %(day)s.", value=value, day=day))


def _known_number(
    value: str, numbers: Collection[int], complain: Callable[[str], None]
) -> int | None:
    if value.isascii() and value.isdigit() and int(value) in numbers:
        return int(value)
    complain(
        _("“%(value)s” is no number of the running order. Write the swimmer's number.", value=value)
    )
    return None
