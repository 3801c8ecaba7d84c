"""What the pages of the pool hour show of a timetable."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from clinics.actions.pool_hour import Planned
from clinics.compute.rotation import GroupRow
from clinics.models import Entry, Station
from clinics.views import hour_words
from clinics.views.hour_strip import lane_of_plan


@dataclass(frozen=True)
class Go:
    """A swimmer's go; `passes` for each station, in its order."""

    entry: Entry
    start_at: dt.datetime
    out_at: dt.datetime
    passes: Sequence[tuple[Station, Sequence[dt.datetime]]]
    in_time: bool


@dataclass(frozen=True)
class GroupTold:
    name: str
    row: GroupRow
    why: str
    briefing_from: dt.datetime | None
    briefing_to: dt.datetime | None
    first_start: dt.datetime
    last_out: dt.datetime
    goes: Sequence[Go]


def summary_of(plan: Planned) -> dict[str, Any]:
    """The sentence and the strip, as the overview of the plan shows them, too."""
    return {
        "plan": plan,
        "sentence": hour_words.sentence(plan),
        "lane": lane_of_plan(plan),
        "begins_at": plan.at(0),
        "ends_at": plan.at(plan.timetable.hour.pool_time_s),
    }


def timetable_of(plan: Planned, stations: list[Station]) -> list[GroupTold]:
    passes: dict[tuple[int, object], list[dt.datetime]] = defaultdict(list)
    for due in plan.passes(stations):
        passes[int(str(due.key)), due.station].append(plan.at(due.at_s))

    def go(number: int) -> Go:
        slot = plan.slots[number]
        at = [(station, passes[number, station.pk]) for station in stations]
        in_time = slot.out_s <= plan.timetable.hour.until_s
        return Go(plan.entries[number], plan.at(slot.start_s), plan.at(slot.out_s), at, in_time)

    def told(row: GroupRow) -> GroupTold:
        numbers = [int(str(g.key)) for g in plan.timetable.goers if g.group == row.group]
        return GroupTold(
            name=str(row.group),
            row=row,
            why=hour_words.why_gap(plan, row),
            briefing_from=_at(plan, row.briefing_from_s),
            briefing_to=_at(plan, row.briefing_to_s),
            first_start=plan.at(row.first_start_s),
            last_out=plan.at(row.last_out_s),
            goes=[go(number) for number in numbers],
        )

    return [told(row) for row in plan.timetable.rows]


def _at(plan: Planned, seconds: float | None) -> dt.datetime | None:
    return None if seconds is None else plan.at(seconds)
