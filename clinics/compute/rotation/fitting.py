"""Whether a pool hour fits its time, and how many swimmers do."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from clinics.compute.rotation.timetable import plan_hour
from clinics.compute.rotation.types import ClinicHour, Goer, Key, Timetable


@dataclass(frozen=True)
class Capacity:
    """`swimmers` in `pool_time_s`: whether they fit and with how much to spare, in whole
    minutes never more than there is (negative: too short by so much, rather more).

    `that_fit`: how many do, in running order. `more`: how many more do who are as slow as the
    last group's slowest and go at its end; 0 if not all fit.
    """

    swimmers: int
    pool_time_s: float
    fits: bool
    spare_s: float
    that_fit: int
    more: int

    @property
    def spare_min(self) -> int:
        return math.floor(self.spare_s / 60)


def capacity(plan: Timetable) -> Capacity:
    """
    >>> two = [Goer("Tomas", "A", 80.0), Goer("Wren", "A", 80.0)]
    >>> capacity(plan_hour(ClinicHour(25.0, 75.0, 345.0), two))
    Capacity(swimmers=2, pool_time_s=345.0, fits=True, spare_s=145.0, that_fit=2, more=2)
    """
    count = len(plan.goers)
    return Capacity(
        swimmers=count,
        pool_time_s=plan.hour.pool_time_s,
        fits=plan.fits,
        spare_s=plan.spare_s,
        that_fit=count if plan.fits else how_many_fit(plan.hour, plan.goers, plan.groups),
        more=int(plan.spare_s // plan.rows[-1].gap_s) if plan.fits else 0,
    )


def how_many_fit(hour: ClinicHour, goers: Sequence[Goer], groups: Sequence[Key]) -> int:
    """How many in running order fit the pool time if the rest does not go; planned anew for
    each number, since a group's gap shrinks with its slowest."""
    for count in range(len(goers), 0, -1):
        if spare_without(hour, goers[:count], groups) >= 0:
            return count
    return 0


def spare_without(hour: ClinicHour, goers: Sequence[Goer], groups: Sequence[Key]) -> float:
    """What is to spare with these swimmers; groups of which nobody is left do not come."""
    left = {goer.group for goer in goers}
    return plan_hour(hour, goers, [group for group in groups if group in left]).spare_s
