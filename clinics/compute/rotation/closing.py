"""After the lane groups: swimmers who go when they are ready, not when their group does."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from clinics.compute.rotation.gaps import NEAR_S, gap_s, in_lane_s, whole_s
from clinics.compute.rotation.timetable import Turn
from clinics.compute.rotation.types import ClinicHour, Goer

FirstStart = Callable[[int], float]
"""From a gap, when the first of these swimmers can start."""


@dataclass(frozen=True)
class Wanting:
    """A go that is still wanted; `ready_s`: not before."""

    goer: Goer
    go_no: int
    ready_s: float


def in_turn(
    hour: ClinicHour, wanting: Sequence[Wanting], first_start: FirstStart
) -> tuple[list[Turn], int]:
    """Everybody's start at one gap, and that gap. Each time the first in the given order who is
    ready goes; if nobody is, the lane waits for who is ready first."""
    gap = gap_s(hour, [one.goer for one in wanting])
    free_s = whole_s(first_start(gap))
    left, turns = list(wanting), list[Turn]()
    while left:
        ready = [one for one in left if one.ready_s <= free_s + NEAR_S]
        one = ready[0] if ready else min(left, key=lambda one: one.ready_s)
        start_s = max(free_s, whole_s(one.ready_s))
        turns.append((one.goer, one.go_no, start_s))
        left.remove(one)
        free_s = start_s + gap
    return turns, gap


def as_many_as_fit(
    hour: ClinicHour, wanting: Sequence[Wanting], first_start: FirstStart, until_s: float
) -> list[Wanting]:
    """Who of them can go so that all are out by `until_s`. Who stands earlier comes first; a
    slower swimmer who does not fit any more keeps nobody else from it."""
    fit: list[Wanting] = []
    for one in wanting:
        turns, _ = in_turn(hour, [*fit, one], first_start)
        out_s = max(start_s + in_lane_s(hour, goer) for goer, _, start_s in turns)
        if out_s <= until_s + NEAR_S:
            fit.append(one)
    return fit
