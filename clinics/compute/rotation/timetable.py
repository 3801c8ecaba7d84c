"""The pool hour by the second: who starts when, and when each group is briefed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from clinics.compute.rotation.gaps import gap_s, in_lane_s, whole_s
from clinics.compute.rotation.inputs import check_hour
from clinics.compute.rotation.order import by_group
from clinics.compute.rotation.types import (
    ClinicHour,
    Goer,
    GroupRow,
    Key,
    Part,
    Slot,
    Timetable,
)

Turn = tuple[Goer, int, float]
"""A swimmer, which go of theirs it is, and the second at which it starts."""


@dataclass(frozen=True)
class Before:
    """Who had the lane before: when they began, and when the last of them is out."""

    first_start_s: float
    last_out_s: float


def plan_hour(
    hour: ClinicHour, goers: Sequence[Goer], groups: Sequence[Key] | None = None
) -> Timetable:
    """The timetable: one go each. Starts are at whole seconds.

    `goers` in running order within their group, which is kept as it is (order.py proposes one);
    `groups` in the order in which they come, None: as they stand in `goers`. BadInput names
    every field that cannot be planned (inputs.py). What does not fit the pool time is planned
    beyond its end: `spare_s` is negative then.

    >>> three = [Goer("Tomas", "A", 80.0), Goer("Wren", "A", 92.0), Goer("Liv", "B", 100.0)]
    >>> plan = plan_hour(ClinicHour(25.0, 75.0, 600.0), three)
    >>> [(slot.key, slot.start_s, slot.out_s) for slot in plan.slots]
    [('Tomas', 60, 130.0), ('Wren', 139, 218.0), ('Liv', 308, 393.0)]
    >>> plan.spare_s
    207.0
    """
    groups = tuple(groups if groups is not None else by_group(goers))
    check_hour(hour, goers, groups)
    members = by_group(goers)
    before: Before | None = None
    rows: list[GroupRow] = []
    slots: list[Slot] = []
    for group in groups:
        gap = gap_s(hour, members[group])
        its = turns(members[group], gap, ready_s(hour, before))
        briefed_s = briefed_until_s(hour, before, its[0][2])
        row, its_slots = go_by_turns(hour, Part.LANE_GROUP, group, its, gap, briefed_s)
        before = Before(row.first_start_s, row.last_out_s)
        rows.append(row)
        slots += its_slots
    ordered = tuple(goer for group in groups for goer in members[group])
    return Timetable(hour, groups, ordered, tuple(rows), tuple(slots))


def ready_s(hour: ClinicHour, before: Before | None) -> float:
    """When a lane group can begin: briefed, at the start, and the lane clear."""
    if before is None:
        return hour.briefing_s
    if not hour.briefs_on_deck:
        return before.last_out_s + hour.change_over_s + hour.briefing_s
    briefed_s = before.first_start_s + hour.briefing_s
    return max(before.last_out_s, briefed_s) + hour.change_over_s


def turns(goers: Sequence[Goer], gap: int, first_s: float) -> list[Turn]:
    """First goes, a gap apart, from the first whole second that is not before `first_s`."""
    return [(goer, 1, whole_s(first_s) + n * gap) for n, goer in enumerate(goers)]


def briefed_until_s(hour: ClinicHour, before: Before | None, first_s: float) -> float:
    """The briefing ends as late as it may: as the group begins, or as it changes over."""
    if hour.briefs_on_deck and before is not None:
        return first_s - hour.change_over_s
    return first_s


def go_by_turns(
    hour: ClinicHour,
    part: Part,
    group: Key | None,
    its: Sequence[Turn],
    gap: int,
    briefing_to_s: float | None = None,
) -> tuple[GroupRow, list[Slot]]:
    """Row and slots of swimmers whose starts are known; at least one. `briefing_to_s` None:
    nobody has to be briefed."""
    slots = [
        Slot(goer.key, goer.group, go_no, start_s, start_s + in_lane_s(hour, goer), part)
        for goer, go_no, start_s in its
    ]
    row = GroupRow(
        part=part,
        group=group,
        swimmers=len(slots),
        gap_s=gap,
        briefing_from_s=None if briefing_to_s is None else briefing_to_s - hour.briefing_s,
        briefing_to_s=briefing_to_s,
        first_start_s=slots[0].start_s,
        last_out_s=max(slot.out_s for slot in slots),
    )
    return row, slots
