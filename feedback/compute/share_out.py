"""Sharing work out evenly among people who may have some already."""

from __future__ import annotations

from collections.abc import Sequence


def how_many_each(count: int, held: Sequence[int]) -> list[int]:
    """How many of `count` new things each of these people gets, so that what they hold in the
    end differs as little as it can. Who comes first gets what is left over.

    `held`: what each holds already, at least 0. Nobody gives anything away.

    >>> how_many_each(7, [0, 0])
    [4, 3]
    >>> how_many_each(4, [5, 0, 1])
    [0, 3, 1]
    """
    if not held:
        return []
    level = _level(count, held)
    shares = [max(0, level - has) for has in held]
    left = count - sum(shares)
    for person, has in enumerate(held):
        if left and has <= level:
            shares[person] += 1
            left -= 1
    return shares


def _level(count: int, held: Sequence[int]) -> int:
    """The highest that everybody can be filled up to with `count` things."""
    low, high = min(held), min(held) + count
    while low < high:
        middle = (low + high + 1) // 2
        if sum(max(0, middle - has) for has in held) <= count:
            low = middle
        else:
            high = middle - 1
    return low
