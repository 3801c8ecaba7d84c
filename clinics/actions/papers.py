"""What is printed for the day: read from plan, timetable and consents when somebody prints it.

Nothing is kept of a paper. Each says as of when it is, and by when whoever holds it destroys it:
what it says of people is true only then, and nobody can take it back from a pocket.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from django.utils import timezone

from clinics.actions.consent_board import Line, board_of
from clinics.actions.errors import BadInput
from clinics.actions.people_at_posts import people_at_posts
from clinics.actions.pool_hour import Planned, planned
from clinics.compute.posts import Post
from clinics.models import Clinic, Duty, Entry, Station

KEPT_FOR = dt.timedelta(days=7)  # time to type in what was written on it; our choice


@dataclass(frozen=True)
class Made:
    """What each paper says of itself."""

    clinic: Clinic
    as_of: dt.datetime
    destroy_by: dt.date


def made(clinic: Clinic) -> Made:
    """A paper printed after the day has its week, too."""
    now = timezone.now()
    today = timezone.localdate(now, clinic.zone)
    return Made(clinic, now, max(clinic.date, today) + KEPT_FOR)


# --- running order ------------------------------------------------------------------------------


@dataclass(frozen=True)
class OrderLine:
    entry: Entry
    starts_at: dt.datetime | None


@dataclass(frozen=True)
class Section:
    """A lane group. Times are None without a timetable, the briefing's if it has none."""

    name: str
    lines: list[OrderLine] = field(default_factory=list)
    briefing_at: dt.datetime | None = None
    out_at: dt.datetime | None = None


@dataclass(frozen=True)
class RunningOrder:
    """`timetable` is None while no pool hour is planned, or if it cannot be (`why_not`)."""

    sections: list[Section]
    timetable: Planned | None = None
    why_not: BadInput | None = None

    @property
    def swimmers(self) -> int:
        return sum(len(section.lines) for section in self.sections)


def running_order(clinic: Clinic) -> RunningOrder:
    """Three queries, however many swimmers there are."""
    try:
        plan = planned(clinic)
    except BadInput as bad:
        return RunningOrder(list(_untimed(clinic)), why_not=bad)
    if plan is None:
        return RunningOrder(list(_untimed(clinic)))
    return RunningOrder(list(_timed(plan)), plan)


def _untimed(clinic: Clinic) -> Iterator[Section]:
    entries = clinic.entries.select_related("swimmer", "lane_group").order_by("order", "number")
    groups = {entry.lane_group_id: entry.lane_group for entry in entries}
    for group in sorted(groups.values(), key=lambda one: (one.order, one.name)):
        its = [entry for entry in entries if entry.lane_group_id == group.pk]
        yield Section(group.name, [OrderLine(entry, None) for entry in its])


def _timed(plan: Planned) -> Iterator[Section]:
    for row in plan.timetable.rows:
        its = [entry for entry in plan.entries.values() if entry.lane_group.name == row.group]
        yield Section(
            str(row.group),
            [OrderLine(entry, plan.starts_at(entry.number)) for entry in its],
            None if row.briefing_from_s is None else plan.at(row.briefing_from_s),
            plan.at(row.last_out_s),
        )


def numbers_of(clinic: Clinic) -> list[int]:
    """In running order: the stack of cards is handed out as it lies."""
    rows = clinic.entries.order_by("lane_group__order", "order", "number")
    return list(rows.values_list("number", flat=True))


# --- who agreed to be filmed --------------------------------------------------------------------


def consent_lines(clinic: Clinic) -> list[Line]:
    """In running order, as the paper beside it."""
    lines = board_of(clinic).lines
    return sorted(lines, key=lambda line: (line.entry.lane_group.order, line.entry.order))


# --- who does what ------------------------------------------------------------------------------


@dataclass(frozen=True)
class PostLine:
    """A post, at which station if it is one of a station, and the names of who holds it.
    `wanted` False: somebody has it although the plan asks for nobody there."""

    post: Post
    station: Station | None
    names: tuple[str, ...]
    wanted: bool = True


def post_lines(clinic: Clinic) -> list[PostLine]:
    """Every post that the plan asks for, then what people hold besides."""
    found = people_at_posts(clinic)
    lines = [
        PostLine(line.place.post, line.station, tuple(_names(line.duties, line.lifeguard)))
        for line in found.lines
    ]
    stations = {station.pk: station for station in found.stations}
    for duty in found.loose:
        station = stations.get(duty.station_id) if duty.station_id else None
        lines.append(PostLine(Post(duty.kind), station, (_name(duty),), wanted=False))
    return lines


def _names(duties: Iterable[Duty], lifeguard: str) -> Iterator[str]:
    yield from (_name(duty) for duty in duties)
    if lifeguard:
        yield lifeguard


def _name(duty: Duty) -> str:
    """Who has no name yet stands there by the first part of the address alone."""
    return duty.user.name or duty.user.email.partition("@")[0]
