"""What the plan of a pool hour is made from and what it says. All times are seconds from the
begin of the pool time."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from enum import StrEnum

Key = Hashable


@dataclass(frozen=True)
class Goer:
    """A swimmer who goes through the circuit. `pace_s_per_100m` is the pace expected there."""

    key: Key
    group: Key
    pace_s_per_100m: float


@dataclass(frozen=True)
class ClinicHour:
    """The pool and its time. What has a default is common practice, without a published source.

    `distance_m` per go. `briefing_s` per lane group. `change_over_s` between one group and the
    next: nobody is in the lane, the next group comes to the start. `climbing_out_s`: from the
    end of the go until the lane is clear; the call to the next start falls into it.
    `reserve_s` at the end of the pool time is not given away. `rest_s` between two goes of one
    swimmer, from out to start.

    `briefs_on_deck` False: the lane rests while a group is briefed, as where starter and coach
    are the same person. True: a group is briefed while the one before swims, though not before
    that one has begun, since one person briefs them all.

    With the defaults a group of six that needs 60 s for its go (75 m at 80 s per 100 m) takes
    60 + 6 * (60 + 10) s = 8 min with its briefing.
    """

    course_m: float
    distance_m: float
    pool_time_s: float
    briefing_s: float = 60.0
    change_over_s: float = 30.0
    climbing_out_s: float = 10.0
    reserve_s: float = 0.0
    rest_s: float = 180.0
    briefs_on_deck: bool = False

    @property
    def until_s(self) -> float:
        """When the last swimmer has to be out."""
        return self.pool_time_s - self.reserve_s


class Part(StrEnum):
    """With whom somebody swims."""

    LANE_GROUP = "lane-group"  # with the own lane group, in its order
    LATE = "late"  # at the end of the own lane group
    LAST = "last"  # the own group was over: after all groups, with others who were late
    SECOND = "second"  # a second go


@dataclass(frozen=True)
class Slot:
    """One go: in the lane from `start_s` until `out_s`, swum and climbed out. `group` is the
    swimmer's own lane group, whatever `part` says. `go_no` counts the swimmer's goes from 1."""

    key: Key
    group: Key
    go_no: int
    start_s: float
    out_s: float
    part: Part = Part.LANE_GROUP


@dataclass(frozen=True)
class GroupRow:
    """Some swimmers who go one after the other. `group` is None for those who come last and for
    second goes. `gap_s`: from start to start. No briefing: both times are None."""

    part: Part
    group: Key | None
    swimmers: int
    gap_s: int
    briefing_from_s: float | None
    briefing_to_s: float | None
    first_start_s: float
    last_out_s: float


@dataclass(frozen=True)
class Timetable:
    """A pool hour as planned: `rows` and `slots` in order of time. `goers` in running order of
    their groups, which are in `groups` in the order in which they come."""

    hour: ClinicHour
    groups: tuple[Key, ...]
    goers: tuple[Goer, ...]
    rows: tuple[GroupRow, ...]
    slots: tuple[Slot, ...]

    @property
    def ends_s(self) -> float:
        """When the last swimmer is out."""
        return max(slot.out_s for slot in self.slots)

    @property
    def spare_s(self) -> float:
        """How much of the pool time is left; negative: by so much it is too short."""
        return round(self.hour.until_s - self.ends_s, 6)  # what is exact to the second stays so

    @property
    def fits(self) -> bool:
        return self.spare_s >= 0
