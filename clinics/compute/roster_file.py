"""Reads a roster: who swims, with which number, how, in which lane group."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from clinics.compute.errors import say as _
from clinics.compute.tables import (
    Complaints,
    Row,
    number_in,
    one_of,
    read_table,
    tidy,
    unprintable,
    whole_in,
)

REQUIRED = ("number", "name", "adult", "stroke", "pace_s_per_100m")
OPTIONAL = ("email", "lane_group", "start")
ALSO_CALLED = {
    "e-mail": "email",
    "lane group": "lane_group",
    "group": "lane_group",
    "no": "number",
    "pace": "pace_s_per_100m",
    "expected pace": "pace_s_per_100m",
}
STROKES = {
    name: name for name in ("freestyle", "backstroke", "breaststroke", "butterfly", "medley")
} | {"free": "freestyle", "back": "backstroke", "breast": "breaststroke", "fly": "butterfly"}
STARTS = {name: name for name in ("block", "edge", "water")}
YES = {"yes", "y", "true", "1", "x", "oui"}
NO = {"no", "n", "false", "0", "non"}
PACE_MIN_S, PACE_MAX_S = 40.0, 600.0
DEFAULT_GROUP = "1"


@dataclass(frozen=True)
class RosterRow:
    """One swimmer. `pace_s_per_100m` in seconds for 100 m; `email` may be empty."""

    row: int
    number: int
    name: str
    email: str
    stroke: str
    pace_s_per_100m: float
    lane_group: str
    start: str


def parse_roster(
    text: str,
    *,
    lane_groups: list[str],
    email_ok: Callable[[str], bool],
    source: str = "roster",
) -> list[RosterRow]:
    """All rows in file order, or BadInput that names every bad cell.

    `lane_groups` are those of the plan; when it names none, the roster's own are taken.
    """
    complaints = Complaints(source)
    rows = read_table(
        text,
        complaints=complaints,
        required=REQUIRED,
        optional=OPTIONAL,
        also_called=ALSO_CALLED,
    )
    if not rows:
        complaints.add(_("names no swimmer. Write one row for each."))
    parsed = [_parse_row(row, complaints, lane_groups, email_ok) for row in rows]
    _no_number_twice(rows, complaints)
    complaints.raise_if_any()
    return [row for row in parsed if row is not None]


def _parse_row(
    row: Row, complaints: Complaints, lane_groups: list[str], email_ok: Callable[[str], bool]
) -> RosterRow | None:
    def complain_of(column: str) -> Callable[[str], None]:
        return lambda sentence: complaints.add(sentence, row=row.number, column=column)

    number = whole_in(row.cells["number"], 1, 99_999, complain_of("number"))
    name = _name(row.cells["name"], complain_of("name"))
    email = _email(row.cells.get("email", ""), complain_of("email"), email_ok)
    adult = _adult(row.cells["adult"], complain_of("adult"))
    stroke = one_of(row.cells["stroke"], STROKES, complain_of("stroke"))
    pace = _pace_s(row.cells["pace_s_per_100m"], complain_of("pace_s_per_100m"))
    group = _lane_group(row.cells.get("lane_group", ""), complain_of("lane_group"), lane_groups)
    start = one_of(row.cells.get("start") or "block", STARTS, complain_of("start"))
    if number is None or name is None or email is None or not adult:
        return None
    if stroke is None or pace is None or group is None or start is None:
        return None
    return RosterRow(row.number, number, name, email, stroke, pace, group, start)


def _name(value: str, complain: Callable[[str], None]) -> str | None:
    name = tidy(value)
    if not name:
        complain(_("is empty. Every swimmer needs a name."))
    elif len(name) > 120:
        complain(_("is %(count)s characters long; 120 are allowed.", count=len(name)))
    elif unprintable(name):
        complain(_("holds a character that cannot be shown. Type the name anew."))
    else:
        return name
    return None


def _email(
    value: str, complain: Callable[[str], None], email_ok: Callable[[str], bool]
) -> str | None:
    if value and (len(value) > 254 or not email_ok(value)):
        complain(
            _(
                "“%(value)s” is not an e-mail address. Correct it, or leave the cell empty.",
                value=value,
            )
        )
        return None
    return value.lower()


def _adult(value: str, complain: Callable[[str], None]) -> bool:
    """Only "yes" lets somebody be filmed."""
    word = value.lower()
    if word in YES:
        return True
    if word in NO:
        complain(
            _(
                "says “no”. Only adults (18 or older) can be filmed here: take this row out, "
                "or write “yes” if the swimmer is 18."
            )
        )
    else:
        complain(
            _(
                "“%(value)s” is neither “yes” nor “no”. Write “yes” for a swimmer who said that "
                "they are 18 or older; nobody else can be filmed here.",
                value=value,
            )
        )
    return False


def _pace_s(value: str, complain: Callable[[str], None]) -> float | None:
    """Seconds per 100 m, as `92.5` or `1:32.5`."""
    minutes = re.fullmatch(r"(\d{1,2}):([0-5]\d(?:[.,]\d+)?)", value)
    seconds = str(int(minutes[1]) * 60 + float(minutes[2].replace(",", "."))) if minutes else value
    return number_in(
        seconds, PACE_MIN_S, PACE_MAX_S, complain, _("seconds per 100 m, or minutes as 1:32.5")
    )


def _lane_group(value: str, complain: Callable[[str], None], lane_groups: list[str]) -> str | None:
    name = tidy(value)
    if not name and len(lane_groups) <= 1:
        return lane_groups[0] if lane_groups else DEFAULT_GROUP
    for known in lane_groups:
        if known.casefold() == name.casefold():
            return known
    if lane_groups:
        groups = ", ".join(lane_groups)
        complain(
            _(
                "“%(value)s” is not in the plan. Its lane groups: %(groups)s.",
                value=value,
                groups=groups,
            )
        )
        return None
    if len(name) > 40 or unprintable(name):
        complain(_("is too long or holds a character that cannot be shown."))
        return None
    return name


def _no_number_twice(rows: list[Row], complaints: Complaints) -> None:
    first_row: dict[str, int] = {}
    for row in rows:
        number = row.cells["number"].lstrip("0")
        if number and number in first_row:
            complaints.add(
                _(
                    "“%(number)s” stands in row %(row)s already. "
                    "Every swimmer needs a number of their own.",
                    number=row.cells["number"],
                    row=first_row[number],
                ),
                row=row.number,
                column="number",
            )
        first_row.setdefault(number, row.number)
