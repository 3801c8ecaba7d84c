"""Where the time of a swim went: start, under water, swimming, at the walls.

The parts follow each other without a gap, so they sum to the split at the last wall until which
every one of them is marked. Nothing is guessed: a part that is not marked ends it before.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from feedback.compute.measuring.uncertain import Quantity, exact
from feedback.compute.measuring.whole import Measured


class Part(StrEnum):
    START = "start"  # from the signal to the first entry
    START_AND_UNDER_WATER = "start-and-under-water"  # where the first entry is not marked
    UNDER_WATER = "under-water"
    SWIMMING = "swimming"
    TURN = "turn"  # from the first touch until the feet leave the wall


@dataclass(frozen=True)
class Spent:
    """`whole`: the split at `until_m`. Parts that a swim does not have are left out."""

    until_m: float
    whole: Quantity
    parts: tuple[tuple[Part, Quantity], ...]


def time_spent(measured: Measured) -> Spent | None:
    """Until the farthest wall that can be told; None: not until any."""
    for wall in reversed(measured.swim.walls):
        found = _until(wall.number, measured)
        if found is not None:
            return found
    return None


def _until(wall: int, measured: Measured) -> Spent | None:
    split, begin = measured.get("split", wall), _begin(measured)
    under = [measured.get("underwater-time", number) for number in range(2, wall + 1)]
    turns = [measured.get("turn-wall", number) for number in range(1, wall)]
    if split is None or begin is None:
        return None
    parts = dict(begin)
    for part, its in ((Part.UNDER_WATER, under), (Part.TURN, turns)):
        for one in its:
            if one is None:
                return None
            parts[part] = parts.get(part, exact(0.0)) + one.quantity
    swimming = split.quantity
    for quantity in parts.values():
        swimming = swimming - quantity
    if swimming.value <= 0:
        return None
    parts[Part.SWIMMING] = swimming
    ordered = tuple((part, parts[part]) for part in Part if part in parts)
    return Spent(wall * measured.swim.course.course_m, split.quantity, ordered)


def _begin(measured: Measured) -> dict[Part, Quantity] | None:
    """The start and the first length's way under water, apart if the first entry is marked."""
    entry, under = measured.get("time-to-entry"), measured.get("underwater-time", 1)
    if entry is not None and under is not None:
        return {Part.START: entry.quantity, Part.UNDER_WATER: under.quantity}
    breakout = measured.get("breakout-time")
    return {Part.START_AND_UNDER_WATER: breakout.quantity} if breakout is not None else None
