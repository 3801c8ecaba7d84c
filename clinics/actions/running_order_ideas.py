"""Running orders to propose to an admin, each with what it would give. Nothing is changed by
them: an admin takes one in with `running_order.arrange`."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from clinics.actions.pool_hour import Planned
from clinics.actions.running_order import (
    Arrangement,
    move_swimmer,
    next_group_name,
    what_is_against,
)
from clinics.compute.rotation import (
    Change,
    Goer,
    Timetable,
    even_groups,
    fastest_groups_first,
    plan_hour,
    running_order,
)

LEAST_IN_GROUP, MOST_IN_GROUP = 5, 6  # common practice, no published source


class Idea(StrEnum):
    FASTEST_GROUP_FIRST = "fastest-group-first"
    FASTEST_SWIMMER_FIRST = "fastest-swimmer-first"  # in each group
    MOVE_SLOWEST = "move-slowest"
    EVEN_GROUPS = "even-groups"


@dataclass(frozen=True)
class Proposal:
    """`moved`: how many swimmers change their group; `spare_s` and `gains_s` as in a Way."""

    idea: Idea
    order: Arrangement
    moved: int
    spare_s: float
    gains_s: float


def proposals(
    plan: Planned, now: Arrangement, swum: Collection[int], count: int | None = None
) -> list[Proposal]:
    """What differs from the running order as it is, and is not against somebody who has swum.
    `count`: into how many groups, None: of five to six."""
    goers = plan.timetable.goers
    names = [name for name, _its in now]
    sorted_groups = [str(name) for name in fastest_groups_first(goers)]
    found = {
        Idea.FASTEST_GROUP_FIRST: _in_order(now, sorted_groups),
        Idea.FASTEST_SWIMMER_FIRST: _arranged(running_order(goers, names), names),
        Idea.MOVE_SLOWEST: _slowest_moved(plan, now),
        Idea.EVEN_GROUPS: _even(goers, names, count or groups_for(len(goers))),
    }
    return [
        _proposal(plan, now, idea, order)
        for idea, order in found.items()
        if _without_nobody(order) != _without_nobody(now) and not what_is_against(now, order, swum)
    ]


def groups_for(swimmers: int) -> int:
    """The fewest groups of at most six: fewer groups need fewer briefings.

    >>> groups_for(40), groups_for(6), groups_for(7)
    (7, 1, 2)
    """
    return max(1, -(-swimmers // MOST_IN_GROUP))


def timetable_of(plan: Planned, order: Arrangement) -> Timetable:
    """The pool hour in another running order."""
    goers = {goer.key: goer for goer in plan.timetable.goers}
    wanted = [replace(goers[number], group=name) for name, its in order for number in its]
    return plan_hour(plan.timetable.hour, wanted)


def _proposal(plan: Planned, now: Arrangement, idea: Idea, order: Arrangement) -> Proposal:
    was = {number: name for name, its in now for number in its}
    moved = sum(was[number] != name for name, its in order for number in its)
    spare_s = timetable_of(plan, order).spare_s
    return Proposal(idea, order, moved, spare_s, spare_s - plan.timetable.spare_s)


def _without_nobody(order: Arrangement) -> Arrangement:
    return [(name, its) for name, its in order if its]


def _in_order(now: Arrangement, names: Sequence[str]) -> Arrangement:
    """Groups without swimmers stay at the end."""
    its = dict(now)
    return [(name, its[name]) for name in [*names, *(n for n, _ in now if n not in names)]]


def _arranged(goers: Sequence[Goer], names: Sequence[str]) -> Arrangement:
    found: dict[str, list[int]] = {name: [] for name in names}
    for goer in goers:
        found[str(goer.group)].append(int(str(goer.key)))
    return list(found.items())


def _slowest_moved(plan: Planned, now: Arrangement) -> Arrangement:
    """The moves of `ways_to_fit`: each before the first of the other group who is slower."""
    pace = {goer.key: goer.pace_s_per_100m for goer in plan.timetable.goers}
    order = now
    for way in plan.ways:
        for move in way.moves if way.change is Change.MOVE_SLOWEST else ():
            number, group = int(str(move.key)), str(move.to_group)
            theirs = dict(order)[group]
            slower = [n for n, one in enumerate(theirs, start=1) if pace[one] > pace[number]]
            order = move_swimmer(order, number, group, slower[0] if slower else None)
    return order


def _even(goers: Sequence[Goer], names: Sequence[str], count: int) -> Arrangement:
    """Into the groups that there are, and new ones after them."""
    all_names = list(names)
    while len(all_names) < count:
        all_names.append(next_group_name(all_names))
    groups = even_groups(goers, min(count, len(goers)))
    its = [[int(str(goer.key)) for goer in group] for group in groups]
    its += [[] for _name in all_names[len(its) :]]
    return list(zip(all_names, its, strict=True))
