"""Who works at the clinic, as the plan says: duty, at which station, in which role, until when."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from clinics.compute.errors import say as _
from clinics.compute.plan_file.specs import StationSpec, TeamSpec
from clinics.compute.plan_file.table import Errors, Table

DUTIES = ("checker", "starter", "logger", "marshal", "camera", "operator", "watcher")
UNDER_WATER = ("operator", "watcher")  # of a station under water
ROLES = ("admin", "coach", "crew")


@dataclass(frozen=True)
class _Plan:
    """What the rows of the team refer to."""

    kinds: Mapping[str, str]  # of stations, by slug
    day: dt.date | None

    @property
    def under_water(self) -> list[str]:
        return [slug for slug, kind in self.kinds.items() if kind == "underwater"]


def team(
    root: Table,
    errors: Errors,
    *,
    stations: Sequence[StationSpec],
    day: dt.date | None,
    email_ok: Callable[[str], bool],
) -> tuple[TeamSpec, ...]:
    """`until`, and a role that is said, hold for all rows of the same person."""
    plan = _Plan({one.slug: one.kind for one in stations}, day)
    found = [
        _member(row, n, errors, plan, email_ok) for n, row in enumerate(root.rows("team"), start=1)
    ]
    roles: dict[str, str] = {}
    last_days: dict[str, dt.date] = {}
    for n, one in enumerate(found, start=1):
        if one.role:
            roles.setdefault(one.email, one.role)
        if one.until and last_days.setdefault(one.email, one.until) != one.until:
            other = last_days[one.email].isoformat()
            told = _("another row of this person says %(day)s.", day=other)
            errors.append((f"team {n}.until", told))
    return tuple(
        replace(
            one,
            role=one.role or roles.get(one.email, "crew"),
            until=last_days.get(one.email),
        )
        for one in found
    )


def _member(
    row: Any, number: int, errors: Errors, plan: _Plan, email_ok: Callable[[str], bool]
) -> TeamSpec:
    table = Table(row, f"team {number}", errors)
    email = table.text("email", limit=254).lower()
    if email and not email_ok(email):
        table.complain("email", _("“%(email)s” is not an e-mail address.", email=email))
    duty = table.choice("duty", DUTIES, default="") or None
    member = TeamSpec(
        email=email,
        name=table.text("name", default=""),
        duty=duty,
        role=table.choice("role", ROLES, default=""),
        station=_station(table, duty, plan),
        until=_until(table, plan.day),
    )
    table.nothing_else()
    return member


def _station(table: Table, duty: str | None, plan: _Plan) -> str | None:
    slug = table.text("station", limit=50, default="")
    if not slug:
        if duty not in UNDER_WATER:
            return None
        if len(plan.under_water) == 1:
            return plan.under_water[0]
        table.complain("station", _("is missing: say at which station under water."))
    elif duty not in (*UNDER_WATER, "camera"):
        table.complain("station", _("is for the duties camera, operator and watcher."))
    elif slug not in plan.kinds:
        table.complain("station", _("there is no station “%(slug)s” in this plan.", slug=slug))
    elif duty in UNDER_WATER and slug not in plan.under_water:
        table.complain("station", _("“%(slug)s” is no station under water.", slug=slug))
    return slug or None


def _until(table: Table, day: dt.date | None) -> dt.date | None:
    until = table.day("until", needed=False)
    if until and day and until < day:
        told = {"until": until.isoformat(), "day": day.isoformat()}
        table.complain("until", _("%(until)s lies before the clinic's day, %(day)s.", **told))
    return until
