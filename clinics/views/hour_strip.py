"""The pool hour as a lane strip: the time of day, the lane groups in turn, no walls. The ladder
stands where the pool time ends."""

from __future__ import annotations

from collections.abc import Iterable

from django.utils.translation import gettext as _

from clinics.actions.pool_hour import Planned
from clinics.actions.pool_hour_day import DayOf
from clinics.compute.rotation import GroupRow, Part
from portal.compute.lane_strip import Instant, Lane, Span


def lane_of_plan(plan: Planned) -> Lane:
    table = plan.timetable
    return _lane(plan, table.rows, until_s=table.ends_s)


def lane_of_day(found: DayOf, *, live: bool) -> Lane:
    """What was logged as starts, then what is to come; the cap is now."""
    plan, day = found.planned, found.day
    ends_s = max(day.ends_s, plan.timetable.ends_s) if live else _last_out_s(found)
    base = _midnight_s(plan)
    starts = tuple(
        Instant(base + slot.start_s, str(plan.entries[int(str(slot.key))])) for slot in day.done
    )
    now_s = base + day.now_s if live else None
    return _lane(plan, day.rows if live else (), until_s=ends_s, starts=starts, now_s=now_s)


def _last_out_s(found: DayOf) -> float:
    return max((slot.out_s for slot in found.day.done), default=0.0)


def _lane(
    plan: Planned,
    rows: Iterable[GroupRow],
    *,
    until_s: float,
    starts: tuple[Instant, ...] = (),
    now_s: float | None = None,
) -> Lane:
    base, pool_s = _midnight_s(plan), plan.timetable.hour.pool_time_s
    first_s = min([0.0, *(start.at_s - base for start in starts)])
    return Lane(
        begin_s=base + first_s,
        end_s=base + max(pool_s, until_s),
        phases=tuple(
            Span(base + row.first_start_s, base + row.last_out_s, part_words(row)) for row in rows
        ),
        starts=starts,
        leaves_s=base + pool_s,
        now_s=now_s,
        of_day=True,
    )


def _midnight_s(plan: Planned) -> float:
    at = plan.at(0)
    return 3600.0 * at.hour + 60.0 * at.minute + at.second


def part_words(row: GroupRow) -> str:
    """Who goes together: "group A", "who came late", "second goes"."""
    if row.part is Part.LANE_GROUP:
        return _("group %(name)s") % {"name": row.group}
    return _("second goes") if row.part is Part.SECOND else _("who came late")
