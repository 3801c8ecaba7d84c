"""How long a swimmer has the lane, and how far apart a group's starts are.

The swum lane is used in both directions: who starts meets whoever is still in it. So the next
swimmer goes only when the one before is out.

Each start could come as soon as the one before is expected to be out, a gap of its own for each
pair. A group has one gap instead, that of its slowest swimmer, because

- a starter with a stop watch keeps an even beat, and cannot look up a number for each start;
- it stays right when two of a group change places, which nobody will say in time;
- paces are guesses: what the quicker ones leave unused is the only room for a wrong one.

It costs the difference to the slowest, so a group that swims alike costs nothing. A timetable
is no leave to start: that the lane is clear is for the starter to see.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from clinics.compute.geometry import speed_m_per_s
from clinics.compute.rotation.types import ClinicHour, Goer

NEAR_S = 1e-6


def in_lane_s(hour: ClinicHour, goer: Goer) -> float:
    """From the start until the lane is clear again: the go at the expected pace, climbing out.

    >>> in_lane_s(ClinicHour(25.0, 75.0, 3600.0), Goer(1, "A", 80.0))
    70.0
    """
    return hour.distance_m / speed_m_per_s(goer.pace_s_per_100m) + hour.climbing_out_s


def gap_s(hour: ClinicHour, goers: Iterable[Goer]) -> int:
    """From start to start in a group, in whole seconds, rounded up: what its slowest swimmer
    needs to be out. ValueError if there is nobody.

    >>> gap_s(ClinicHour(25.0, 75.0, 3600.0), [Goer(1, "A", 80.0), Goer(2, "A", 98.0)])
    84
    """
    return whole_s(max(in_lane_s(hour, goer) for goer in goers))


def whole_s(seconds: float) -> int:
    """The next whole second that is not earlier.

    >>> whole_s(83.5), whole_s(84.0), whole_s(-1.5)
    (84, 84, -1)
    """
    return math.ceil(seconds - NEAR_S)
