"""The whole plan, or everything that is wrong with it."""

from __future__ import annotations

import datetime as dt
import tomllib
import zoneinfo
from collections.abc import Callable

from clinics.compute.errors import BadInput
from clinics.compute.errors import say as _
from clinics.compute.plan_file.hour_and_venue import pool_hour, venue_sheet
from clinics.compute.plan_file.specs import PlanFile
from clinics.compute.plan_file.stations import stations
from clinics.compute.plan_file.table import Errors, Table, no_twice
from clinics.compute.plan_file.team import team

FORMAT = "sidelane-plan/1"
GIVES = ("at_once", "with_feedback")


def parse_plan(
    text: str, *, email_ok: Callable[[str], bool], source: str = "plan.toml"
) -> PlanFile:
    """The plan, or BadInput that names every bad field."""
    try:
        content = tomllib.loads(text.lstrip("\ufeff"))
    except tomllib.TOMLDecodeError as problem:
        told = _("cannot be read as TOML: %(problem)s.", problem=problem)
        raise BadInput([(source, told)]) from None
    errors: Errors = []
    root = Table(content, "", errors)
    if root.get("format", needed=False) != FORMAT:
        told = _("must be “%(name)s”; that names the version of this format.", name=FORMAT)
        root.complain("format", told)
    clinic = Table(root.get("clinic") or {}, "clinic", errors)
    starter = Table(root.get("starter", needed=False) or {}, "starter", errors)
    plan = _read(root, clinic, starter, errors, email_ok)
    for table in (root, clinic, starter):
        table.nothing_else()
    if errors:
        raise BadInput((f"{source}, {where}", sentence) for where, sentence in errors)
    return plan


def _read(
    root: Table,
    clinic: Table,
    starter: Table,
    errors: Errors,
    email_ok: Callable[[str], bool],
) -> PlanFile:
    course_m = clinic.number("course_m", 5, 200)
    day = clinic.day("date")
    at = stations(root, errors, course_m)
    return PlanFile(
        slug=clinic.slug("slug"),
        name=clinic.text("name"),
        club=clinic.slug("club"),
        venue=clinic.text("venue"),
        date=day or dt.date.min,
        time_zone=_time_zone(clinic),
        course_m=course_m,
        distance_m=clinic.number("distance_m", 5, 1500),
        air_temperature_c=clinic.number("air_temperature_c", -20, 50),
        give=clinic.choice("give", GIVES, default="with_feedback"),
        sound_for_swimmers=clinic.flag("sound_for_swimmers", False),
        roster=clinic.text("roster", limit=200, default="") or None,
        starter_x_m=starter.number("x_m", -20, 220, default=0.0),
        starter_y_m=starter.number("y_m", -50, 50, default=1.0),
        stations=at,
        lane_groups=_lane_groups(root, errors),
        team=team(root, errors, stations=at, day=day, email_ok=email_ok),
        pool_hour=pool_hour(root, errors),
        venue_sheet=venue_sheet(root, errors),
    )


def _time_zone(clinic: Table) -> str:
    name = clinic.text("time_zone", limit=64)
    if name and not is_time_zone(name):
        told = _("“%(name)s” is no time zone. Write one as “Europe/Dublin”.", name=name)
        clinic.complain("time_zone", told)
    return name


def is_time_zone(name: str) -> bool:
    try:
        zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        return False
    return True


def _lane_groups(root: Table, errors: Errors) -> tuple[str, ...]:
    groups = []
    for n, row in enumerate(root.rows("lane_group"), start=1):
        table = Table(row, f"lane_group {n}", errors)
        groups.append((table.number("order", 0, 1000, default=n), n, table.text("name", limit=40)))
        table.nothing_else()
    names = [name for _order, _n, name in sorted(groups)]
    no_twice(errors, "lane_group", "name", [name.casefold() for name in names])
    return tuple(names)
