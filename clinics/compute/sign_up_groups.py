"""Proposals for who signed up: into which lane group, in which order, and how many have room.

A person may change every one of them; nobody who is entered already is moved.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from clinics.compute.rotation import (
    ClinicHour,
    Goer,
    even_groups,
    fastest_groups_first,
    plan_hour,
)

GROUP_SIZE = 6  # five or six: common practice, without a published source
USUAL_PACE_S = 110.0  # per 100 m, where nobody has said one yet: common practice, no source
MOST = 200


@dataclass(frozen=True)
class Proposal:
    """Somebody new, and the group by its name."""

    key: Hashable
    group: str


def group_count(swimmers: int) -> int:
    """
    >>> group_count(0), group_count(6), group_count(40)
    (1, 1, 7)
    """
    return max(1, math.ceil(swimmers / GROUP_SIZE))


def propose_groups(
    new: Sequence[Goer], entered: Iterable[Goer], groups: Sequence[str], *, count: int = 0
) -> list[Proposal]:
    """In the order in which they would swim, fastest group first and fastest in it first.

    Where swimmers are entered already, each new one joins the fastest group in which nobody gets
    slower by them: the first, by pace, whose slowest is as slow as they are; else the slowest.
    Where nobody is, even groups by pace alone: as many as `groups` has names, or `count`.

    >>> new = [Goer("Noor", "", 95.0), Goer("Rune", "", 70.0)]
    >>> [one.group for one in propose_groups(new, [Goer(1, "B", 80.0), Goer(2, "C", 99.0)], [])]
    ['B', 'C']
    >>> [(one.key, one.group) for one in propose_groups(new, [], ["A", "B"])]
    [('Rune', 'A'), ('Noor', 'B')]
    """
    there = list(entered)
    if not new:
        return []
    if not there or count:
        return _even(new, groups, count or len(groups) or group_count(len(new)))
    slowest = {
        str(group): max(goer.pace_s_per_100m for goer in there if goer.group == group)
        for group in fastest_groups_first(there)
    }
    by_pace = sorted(new, key=lambda goer: goer.pace_s_per_100m)
    return [Proposal(goer.key, _joins(goer, slowest)) for goer in by_pace]


def _even(new: Sequence[Goer], groups: Sequence[str], count: int) -> list[Proposal]:
    names = [*groups, *_more_names(groups, count - len(groups))]
    parts = even_groups(new, min(count, len(new)))
    return [
        Proposal(goer.key, name) for name, part in zip(names, parts, strict=False) for goer in part
    ]


def _more_names(groups: Sequence[str], count: int) -> list[str]:
    """Figures that no group is called by yet.

    >>> _more_names(["1", "3"], 2)
    ['2', '4']
    """
    taken, found, figure = set(groups), list[str](), 0
    while len(found) < count:
        figure += 1
        if str(figure) not in taken:
            found.append(str(figure))
    return found


def _joins(goer: Goer, slowest: Mapping[str, float]) -> str:
    """`slowest` by group, fastest group first."""
    fits = [group for group, pace in slowest.items() if goer.pace_s_per_100m <= pace]
    return fits[0] if fits else list(slowest)[-1]


def how_many_fit(hour: ClinicHour, paces_s: Sequence[float]) -> int:
    """How many swimmers the pool hour has room for in even groups of at most six, if those who
    are not known yet are as fast as the middle one of those who are. 0: not one.

    40 swimmers of 75 m at 80 s per 100 m are eight minutes for each group of six (rotation's
    own figures), so an hour takes seven groups:
    >>> how_many_fit(ClinicHour(25.0, 75.0, 3600.0), [80.0] * 6)
    42
    """
    known = sorted(paces_s)
    middle = known[len(known) // 2] if known else USUAL_PACE_S
    fits = 0
    for count in range(1, MOST + 1):
        paces = sorted([*known, *[middle] * (count - len(known))][:count])
        if _spare_s(hour, paces) < 0:
            return fits
        fits = count
    return fits


def _spare_s(hour: ClinicHour, paces: Sequence[float]) -> float:
    goers = [Goer(key, 0, pace) for key, pace in enumerate(paces)]
    parts = even_groups(goers, group_count(len(goers)))
    grouped = [replace(goer, group=n) for n, part in enumerate(parts) for goer in part]
    return plan_hour(hour, grouped).spare_s
