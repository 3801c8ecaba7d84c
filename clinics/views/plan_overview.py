"""The overview of a clinic's plan: whether the hour fits, the pool, who goes when, who is still
missing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Exists, OuterRef

from clinics.actions.people_at_posts import people_at_posts
from clinics.actions.pool_hour import Planned, planned
from clinics.actions.stations_seen import stations_seen
from clinics.models import Clinic, Consent, Entry
from clinics.privacy import FILM_AND_REVIEW
from clinics.views.hour_told import summary_of
from clinics.views.people_told import posts_told
from clinics.views.plan_places import plan_places
from clinics.views.stations_drawn import SIZES_PX, pool_context
from clinics.views.stations_told import OK, StationTold, stations_told


@dataclass(frozen=True)
class StationLine:
    """A station with the first thing that somebody should look at, if there is one."""

    told: StationTold
    said: str
    do: str


@dataclass(frozen=True)
class GroupLine:
    """`at` is None while the pool hour is not known."""

    name: str
    at: dt.datetime | None
    who: Sequence[str]


def overview_of(clinic: Clinic) -> dict[str, Any]:
    seen, plan, people = stations_seen(clinic), planned(clinic), people_at_posts(clinic)
    entries = _entries(clinic, plan)
    posts = posts_told(people)
    context: dict[str, Any] = {
        "entries": entries,
        "groups": _groups(entries, plan),
        "stations": [_station(told) for told in stations_told(seen)],
        "posts": [post for post in posts if post.is_held],
        "loose": people.loose,
        "open_posts": [post for post in posts if not post.is_held],
        "places_of_plan": plan_places(clinic, "clinic-plan"),
        "plan": None,
    }
    context |= pool_context(clinic, width_px=SIZES_PX["wide"], seen=seen)
    return context | (summary_of(plan) if plan else {})


def _station(told: StationTold) -> StationLine:
    first = next((one for one in told.told if one.state != OK), None)
    return StationLine(told, first.said if first else "", first.do if first else "")


def _entries(clinic: Clinic, plan: Planned | None) -> list[Entry]:
    """In running order, each with `agrees` and with `starts_at`, None without a pool hour."""
    consents = Consent.objects.filter(
        swimmer_id=OuterRef("swimmer_id"), purpose=FILM_AND_REVIEW, ended_at__isnull=True
    )
    rows = clinic.entries.select_related("swimmer", "lane_group")
    in_order = rows.annotate(agrees=Exists(consents)).order_by("lane_group__order", "order")
    entries: list[Entry] = list(in_order)
    for entry in entries:
        at = plan.starts_at(entry.number) if plan and entry.number in plan.slots else None
        entry.starts_at = at  # type: ignore[attr-defined]
    return entries


def _groups(entries: Sequence[Entry], plan: Planned | None) -> list[GroupLine]:
    its: dict[str, list[Entry]] = {}
    for entry in entries:
        its.setdefault(entry.lane_group.name, []).append(entry)
    rows = {row.group: row for row in plan.timetable.rows} if plan else {}
    return [
        GroupLine(
            name,
            plan.at(rows[name].first_start_s) if plan and name in rows else None,
            [f"{entry.number} {entry.swimmer.name}" for entry in members],
        )
        for name, members in its.items()
    ]
