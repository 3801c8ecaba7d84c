"""Reads plan.toml: a clinic's pool, stations, lane groups and team.

deploy/example-plan/plan.toml is a whole example with a comment on each line.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import re
import tomllib
import zoneinfo
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from clinics.compute.errors import BadInput
from clinics.compute.errors import say as _
from clinics.compute.tables import tidy, unprintable

FORMAT = "sidelane-plan/1"
KINDS = ("start-side", "underwater", "turn-window", "deck")
GIVES = ("at_once", "with_feedback")
DUTIES = ("checker", "starter", "logger", "marshal", "camera")
ROLES = ("admin", "coach", "crew")
# What is usual; a plan says where its own cameras stand.
USUAL_HEIGHT_M = {"start-side": 1.6, "underwater": -0.5, "turn-window": -0.5, "deck": 1.6}


@dataclass(frozen=True)
class WindowSpec:
    """A station's own window for one pass, in swim_s."""

    pass_no: int
    from_s: float
    to_s: float


@dataclass(frozen=True)
class StationSpec:
    """x along the course from the start wall, y across from the edge of the swum lane's side
    (positive: over the water), z above the water; metres."""

    slug: str
    name: str
    kind: str
    x_m: float
    y_m: float
    z_m: float
    hears_start: bool
    windows: tuple[WindowSpec, ...]
    camera: str


@dataclass(frozen=True)
class TeamSpec:
    email: str
    name: str
    duty: str | None
    role: str


@dataclass(frozen=True)
class PlanFile:
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


class _Table:
    """A TOML table that is read field by field; what is wrong is collected, not raised."""

    def __init__(self, content: Any, where: str, errors: list[tuple[str, str]]) -> None:
        self.where, self.errors = where, errors
        self.content: dict[str, Any] = content if isinstance(content, dict) else {}
        self.read: set[str] = set()
        if not isinstance(content, dict):
            errors.append((where, _("must be a table with fields.")))

    def complain(self, key: str, sentence: str) -> None:
        self.errors.append((f"{self.where}.{key}" if self.where else key, sentence))

    def get(self, key: str, *, needed: bool = True) -> Any:
        self.read.add(key)
        if key not in self.content and needed:
            self.complain(key, _("is missing."))
        return self.content.get(key)

    def text(self, key: str, *, limit: int = 120, default: str | None = None) -> str:
        value = self.get(key, needed=default is None)
        if value is None:
            return default or ""
        if not isinstance(value, str) or not tidy(value):
            self.complain(key, _("must be some text in quotes."))
            return ""
        if len(value) > limit or unprintable(value):
            self.complain(
                key, _("must be at most %(limit)s characters that can be shown.", limit=limit)
            )
        return tidy(value)

    def slug(self, key: str) -> str:
        value = self.text(key, limit=50)
        if value and not re.fullmatch(r"[a-z0-9]+(?:-[a-z0-9]+)*", value):
            self.complain(
                key, _("“%(value)s” must be small letters, digits and single hyphens.", value=value)
            )
        return value

    def number(self, key: str, low: float, high: float, default: float | None = None) -> float:
        value = self.get(key, needed=default is None)
        if value is None:
            return low if default is None else default
        said = {"low": f"{low:g}", "high": f"{high:g}"}
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.complain(
                key, _("must be a number from %(low)s to %(high)s, without quotes.", **said)
            )
            return low
        if not low <= value <= high:
            told = _("%(value)s is outside %(low)s to %(high)s.", value=f"{value:g}", **said)
            self.complain(key, told)
        return float(value)

    def flag(self, key: str, default: bool) -> bool:
        value = self.get(key, needed=False)
        if value is not None and not isinstance(value, bool):
            self.complain(key, _("must be true or false."))
        return default if value is None else bool(value)

    def choice(self, key: str, choices: Iterable[str], default: str | None = None) -> str:
        value = self.get(key, needed=default is None)
        if value is None:
            return default or ""
        if value not in choices:
            known = ", ".join(choices)
            told = _("“%(value)s” is not known. Write one of: %(known)s.", value=value, known=known)
            self.complain(key, told)
        return str(value)

    def rows(self, key: str) -> list[Any]:
        value = self.get(key, needed=False)
        if value is not None and not isinstance(value, list):
            self.complain(key, _("must be a list: write [[%(key)s]] above each.", key=key))
            return []
        return value or []

    def nothing_else(self) -> None:
        for key in self.content.keys() - self.read:
            known = ", ".join(sorted(self.read))
            self.complain(key, _("is not known here. Known: %(known)s.", known=known))


def parse_plan(
    text: str, *, email_ok: Callable[[str], bool], source: str = "plan.toml"
) -> PlanFile:
    """The plan, or BadInput that names every bad field."""
    try:
        content = tomllib.loads(text.lstrip("\ufeff"))
    except tomllib.TOMLDecodeError as problem:
        told = _("cannot be read as TOML: %(problem)s.", problem=problem)
        raise BadInput([(source, told)]) from None
    errors: list[tuple[str, str]] = []
    root = _Table(content, "", errors)
    if root.get("format", needed=False) != FORMAT:
        told = _("must be “%(name)s”; that names the version of this format.", name=FORMAT)
        root.complain("format", told)
    clinic = _Table(root.get("clinic") or {}, "clinic", errors)
    starter = _Table(root.get("starter", needed=False) or {}, "starter", errors)
    plan = _read(root, clinic, starter, errors, email_ok)
    for table in (root, clinic, starter):
        table.nothing_else()
    if errors:
        raise BadInput((f"{source}, {where}", sentence) for where, sentence in errors)
    return plan


def _read(
    root: _Table,
    clinic: _Table,
    starter: _Table,
    errors: list[tuple[str, str]],
    email_ok: Callable[[str], bool],
) -> PlanFile:
    course_m = clinic.number("course_m", 5, 200)
    return PlanFile(
        slug=clinic.slug("slug"),
        name=clinic.text("name"),
        club=clinic.slug("club"),
        venue=clinic.text("venue"),
        date=_date(clinic),
        time_zone=_time_zone(clinic),
        course_m=course_m,
        distance_m=clinic.number("distance_m", 5, 1500),
        air_temperature_c=clinic.number("air_temperature_c", -20, 50),
        give=clinic.choice("give", GIVES, default="with_feedback"),
        sound_for_swimmers=clinic.flag("sound_for_swimmers", False),
        roster=clinic.text("roster", limit=200, default="") or None,
        starter_x_m=starter.number("x_m", -20, 220, default=0.0),
        starter_y_m=starter.number("y_m", -50, 50, default=1.0),
        stations=_stations(root, errors, course_m),
        lane_groups=_lane_groups(root, errors),
        team=_team(root, errors, email_ok),
    )


def _date(clinic: _Table) -> dt.date:
    value = clinic.get("date")
    if isinstance(value, str):
        with contextlib.suppress(ValueError):
            value = dt.date.fromisoformat(value)
    if isinstance(value, dt.datetime) or not isinstance(value, dt.date):
        if value is not None:
            clinic.complain("date", _("“%(value)s” must be a day as 2026-11-14.", value=value))
        return dt.date.min
    return value


def _time_zone(clinic: _Table) -> str:
    name = clinic.text("time_zone", limit=64)
    try:
        if name:
            zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        told = _("“%(name)s” is no time zone. Write one as “Europe/Dublin”.", name=name)
        clinic.complain("time_zone", told)
    return name


def _stations(
    root: _Table, errors: list[tuple[str, str]], course_m: float
) -> tuple[StationSpec, ...]:
    rows = root.rows("station")
    if not 1 <= len(rows) <= 6:
        told = _("there are %(count)s; a clinic has one to six.", count=len(rows))
        root.complain("station", told)
    stations = tuple(_station(row, n, errors, course_m) for n, row in enumerate(rows, start=1))
    _no_twice(errors, "station", "slug", [station.slug for station in stations])
    return stations


def _station(row: Any, number: int, errors: list[tuple[str, str]], course_m: float) -> StationSpec:
    table = _Table(row, f"station {number}", errors)
    kind = table.choice("kind", KINDS)
    name = table.text("name", limit=80)
    station = StationSpec(
        slug=table.slug("slug"),
        name=name,
        kind=kind,
        x_m=table.number("x_m", -20, course_m + 20),
        y_m=table.number("y_m", -50, 50),
        z_m=table.number("z_m", -6, 20, default=USUAL_HEIGHT_M.get(kind, 1.5)),
        hears_start=table.flag("hears_start", kind != "underwater"),
        windows=_windows(table),
        camera=table.text("camera", limit=80, default=name or "Camera"),
    )
    table.nothing_else()
    return station


def _windows(table: _Table) -> tuple[WindowSpec, ...]:
    windows = []
    for n, row in enumerate(table.rows("windows"), start=1):
        part = _Table(row, f"{table.where}.windows {n}", table.errors)
        pass_no = int(part.number("pass", 1, 200))
        from_s, to_s = part.number("from_s", -60, 3600), part.number("to_s", -60, 3600)
        if from_s >= to_s:
            ends = {"to_s": f"{to_s:g}", "from_s": f"{from_s:g}"}
            part.complain("to_s", _("%(to_s)s must be after from_s, %(from_s)s.", **ends))
        part.nothing_else()
        windows.append(WindowSpec(pass_no, from_s, to_s))
    _no_twice(table.errors, f"{table.where}.windows", "pass", [w.pass_no for w in windows])
    return tuple(sorted(windows, key=lambda window: window.pass_no))


def _lane_groups(root: _Table, errors: list[tuple[str, str]]) -> tuple[str, ...]:
    groups = []
    for n, row in enumerate(root.rows("lane_group"), start=1):
        table = _Table(row, f"lane_group {n}", errors)
        groups.append((table.number("order", 0, 1000, default=n), n, table.text("name", limit=40)))
        table.nothing_else()
    names = [name for _order, _n, name in sorted(groups)]
    _no_twice(errors, "lane_group", "name", [name.casefold() for name in names])
    return tuple(names)


def _team(
    root: _Table, errors: list[tuple[str, str]], email_ok: Callable[[str], bool]
) -> tuple[TeamSpec, ...]:
    team = []
    for n, row in enumerate(root.rows("team"), start=1):
        table = _Table(row, f"team {n}", errors)
        email = table.text("email", limit=254).lower()
        if email and not email_ok(email):
            table.complain("email", _("“%(email)s” is not an e-mail address.", email=email))
        duty = table.choice("duty", DUTIES, default="") or None
        member = TeamSpec(
            email=email,
            name=table.text("name", default=""),
            duty=duty,
            role=table.choice("role", ROLES, default="crew"),
        )
        table.nothing_else()
        team.append(member)
    return tuple(team)


def _no_twice(errors: list[tuple[str, str]], where: str, key: str, values: list[Any]) -> None:
    for value in {value for value in values if values.count(value) > 1}:
        told = _("“%(value)s” stands there twice.", value=value)
        errors.append((f"{where}.{key}", told))
