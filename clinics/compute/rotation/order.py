"""In which order to swim: proposals, which a person may change. The plan itself never sorts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby

from clinics.compute.rotation.types import Goer, Key


def running_order(
    goers: Sequence[Goer], groups: Sequence[Key], chosen: Iterable[Key] = ()
) -> list[Goer]:
    """Group by group, in each the fastest first; who is equally fast stays in the given order.

    `chosen`: keys of swimmers whom a person put in order. They go first in their group, in
    that order; the others follow, fastest first. Nobody changes the group; who is in none of
    `groups` stands last.

    >>> three = [Goer("Tomas", "A", 78.0), Goer("Wren", "A", 92.5), Goer("Sol", "A", 70.0)]
    >>> [goer.key for goer in running_order(three, ["A"])]
    ['Sol', 'Tomas', 'Wren']
    >>> [goer.key for goer in running_order(three, ["A"], chosen=["Wren", "Sol"])]
    ['Wren', 'Sol', 'Tomas']
    """
    place = {group: n for n, group in enumerate(groups)}
    first = {key: n for n, key in enumerate(chosen)}

    def rank(goer: Goer) -> tuple[int, float, float]:
        return (
            place.get(goer.group, len(place)),
            first.get(goer.key, len(first)),
            goer.pace_s_per_100m,
        )

    return sorted(goers, key=rank)


def fastest_groups_first(goers: Iterable[Goer]) -> list[Key]:
    """The groups by how long their slowest swimmer takes, since that is their gap.

    >>> fastest_groups_first([Goer(1, "B", 70.0), Goer(2, "B", 120.0), Goer(3, "A", 90.0)])
    ['A', 'B']
    """
    slowest: dict[Key, float] = {}
    for goer in goers:
        slowest[goer.group] = max(goer.pace_s_per_100m, slowest.get(goer.group, 0.0))
    return sorted(slowest, key=lambda group: slowest[group])


def even_groups(goers: Sequence[Goer], count: int) -> list[list[Goer]]:
    """So many groups by pace alone, fastest first, sizes apart by at most one; the faster groups
    are the larger ones, which takes less time.

    >>> five = [Goer(key, "A", pace) for key, pace in zip("abcde", (90, 70, 80, 100, 60))]
    >>> [[goer.key for goer in group] for group in even_groups(five, 2)]
    [['e', 'b', 'c'], ['a', 'd']]
    """
    ordered = sorted(goers, key=lambda goer: goer.pace_s_per_100m)
    size, larger = divmod(len(ordered), count)
    ends = [n * size + min(n, larger) for n in range(count + 1)]
    return [ordered[begin:end] for begin, end in zip(ends, ends[1:], strict=False)]


def by_group(goers: Iterable[Goer]) -> Mapping[Key, list[Goer]]:
    """The members of each group, in the given order."""
    members: dict[Key, list[Goer]] = {}
    for group, some in groupby(goers, key=lambda goer: goer.group):
        members.setdefault(group, []).extend(some)
    return members
