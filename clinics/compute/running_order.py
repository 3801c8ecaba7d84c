"""Who goes with which start that was heard, when nobody logged it: names in running order.

Nobody drags names about. A start either is none (a practice start, another sound), or it is the
next swimmer's, or a person says who it is; whatever follows goes on from there. So names only
shift: they never change their order by themselves.

>>> heard = [Heard("a"), Heard("b", is_start=False), Heard("c"), Heard("d")]
>>> name_starts(heard, ["Tomas", "Wren", "Ada"])
{'a': 'Tomas', 'c': 'Wren', 'd': 'Ada'}
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Heard:
    """A start that was heard. `chosen`: the swimmer that a person chose, None: who follows."""

    key: str
    is_start: bool = True
    chosen: str | None = None


def name_starts(heard: Sequence[Heard], order: Sequence[str]) -> dict[str, str]:
    """The swimmer of each start, by the start's key; a start for whom nobody is left has none.

    `heard` in order of time; `order` are the swimmers in running order who are not yet in the
    log. A swimmer whom a person chose need not be among them (somebody who goes again); then
    the order goes on where it was. Nobody is named twice unless a person says so.
    """
    place = {swimmer: n for n, swimmer in enumerate(order)}
    named: dict[str, str] = {}
    next_place = 0
    for one in heard:
        if not one.is_start:
            continue
        if one.chosen is not None:
            named[one.key] = one.chosen
            next_place = place.get(one.chosen, next_place - 1) + 1
            continue
        while next_place < len(order) and order[next_place] in named.values():
            next_place += 1
        if next_place < len(order):
            named[one.key] = order[next_place]
            next_place += 1
    return named


def somebody_missing(heard: Sequence[Heard], order: Sequence[str], key: str) -> str | None:
    """Who goes at that start if the swimmer proposed there did not: the next in running order.
    None: nobody is left.

    >>> somebody_missing([Heard("a"), Heard("b")], ["Tomas", "Wren", "Ada"], "b")
    'Ada'
    """
    named = name_starts(heard, order)
    if named.get(key) not in order:
        return None
    after = list(order)[list(order).index(named[key]) + 1 :]
    taken = {swimmer for other, swimmer in named.items() if _is_before(heard, other, key)}
    return next((swimmer for swimmer in after if swimmer not in taken), None)


def went_twice(heard: Sequence[Heard], order: Sequence[str], key: str) -> str | None:
    """Who goes at that start if the swimmer of the start before went again. None: there is none.

    >>> went_twice([Heard("a"), Heard("b", is_start=False), Heard("c")], ["Tomas", "Wren"], "c")
    'Tomas'
    """
    named = name_starts(heard, order)
    before = [one.key for one in heard if one.key in named and _is_before(heard, one.key, key)]
    return named[before[-1]] if before else None


def _is_before(heard: Sequence[Heard], one: str, other: str) -> bool:
    keys = [row.key for row in heard]
    return keys.index(one) < keys.index(other)
