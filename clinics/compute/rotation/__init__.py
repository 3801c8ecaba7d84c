"""A clinic's pool hour: who goes when, whether it fits, and what becomes of it on the day.

    plan_hour(hour, goers)  ->  Timetable     capacity(plan), ways_to_fit(plan)
    replan(plan, …, now_s)  ->  Day           slip_s(plan, day)

One lane is swum in both directions, so one swimmer at a time is in it: gaps.py says how far
apart they start, and why. Times are seconds from the begin of the pool time.
"""

from __future__ import annotations

from clinics.compute.rotation.fitting import Capacity, capacity
from clinics.compute.rotation.gaps import gap_s, in_lane_s
from clinics.compute.rotation.lane_log import Started
from clinics.compute.rotation.on_the_day import replan, slip_s
from clinics.compute.rotation.order import even_groups, fastest_groups_first, running_order
from clinics.compute.rotation.rest import Day, Late
from clinics.compute.rotation.stations import Due, StationAt, expected_passes
from clinics.compute.rotation.timetable import plan_hour
from clinics.compute.rotation.types import ClinicHour, Goer, GroupRow, Key, Part, Slot, Timetable
from clinics.compute.rotation.ways import Change, Move, Way, ways_to_fit

__all__ = [
    "Capacity",
    "Change",
    "ClinicHour",
    "Day",
    "Due",
    "Goer",
    "GroupRow",
    "Key",
    "Late",
    "Move",
    "Part",
    "Slot",
    "Started",
    "StationAt",
    "Timetable",
    "Way",
    "capacity",
    "even_groups",
    "expected_passes",
    "fastest_groups_first",
    "gap_s",
    "in_lane_s",
    "plan_hour",
    "replan",
    "running_order",
    "slip_s",
    "ways_to_fit",
]
