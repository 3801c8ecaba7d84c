"""Puts the rest of a pool hour together, part after part."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from clinics.compute.rotation.closing import FirstStart, Wanting, as_many_as_fit, in_turn
from clinics.compute.rotation.gaps import NEAR_S, gap_s
from clinics.compute.rotation.lane_log import LaneNow, Started, lane_now, went
from clinics.compute.rotation.order import by_group
from clinics.compute.rotation.timetable import (
    Before,
    Turn,
    briefed_until_s,
    go_by_turns,
    ready_s,
    turns,
)
from clinics.compute.rotation.types import Goer, GroupRow, Key, Part, Slot, Timetable


@dataclass(frozen=True)
class Late:
    """Somebody who is not there yet; `from_s`: when they are, briefed and ready to start."""

    key: Key
    from_s: float


@dataclass(frozen=True)
class Day:
    """Where the pool hour stands. `done`: goes of the start log, with the instants logged and
    the end expected. `rows` and `slots`: what is to come. `over_time`: first goes to come that
    end after the pool time. `no_second`: who asked for a second go and has none any more.
    `ends_s`: when the last of all is out, not before now. `spare_s` as in a Timetable."""

    now_s: float
    done: tuple[Slot, ...]
    rows: tuple[GroupRow, ...]
    slots: tuple[Slot, ...]
    over_time: tuple[Key, ...]
    no_second: tuple[Key, ...]
    ends_s: float
    spare_s: float


class Rest:
    """`before`: who has the lane before the part that comes next; None: nobody yet."""

    def __init__(
        self,
        plan: Timetable,
        started: Sequence[Started],
        no_shows: Collection[Key],
        late: Sequence[Late],
        now_s: float,
    ) -> None:
        self.plan, self.hour = plan, plan.hour
        self.goers = {goer.key: goer for goer in plan.goers}
        self.done = went(self.hour, self.goers, started)
        self.now_s = now_s
        gone = {slot.key for slot in self.done}
        self.late = {one.key: one.from_s for one in late}
        self.absent = set(no_shows) - self.late.keys()
        self.left = [one for one in plan.goers if one.key not in gone | self.absent]
        self.lane = self._lane()
        self.before = self._before()
        self.rows: list[GroupRow] = []
        self.slots: list[Slot] = []

    def _lane(self) -> LaneNow:
        there = [one for one in self.plan.goers if one.key not in self.absent | self.late.keys()]
        expected = {group: {one.key for one in its} for group, its in by_group(there).items()}
        firsts = [slot for slot in self.done if slot.go_no == 1]
        return lane_now(self.plan.groups, firsts, expected)

    def _before(self) -> Before | None:
        if not self.done:
            return None
        first_s = self.lane.first_start_s
        first_s = self.done[0].start_s if first_s is None else first_s
        return Before(first_s, self.done[-1].out_s)

    def day(self, asked: Sequence[Key]) -> Day:
        others = [group for group in self.plan.groups if group != self.lane.group]
        for group in [self.lane.group, *others]:
            if group not in self.lane.over:
                self._lane_group(group)
        self._those_who_wait_go_meanwhile(asked)
        self._go(Part.LAST, self._waiting())
        self._second_goes(asked, self.hour.until_s)
        until_s, ends_s = self.hour.until_s, self._ends_s()
        return Day(
            now_s=self.now_s,
            done=tuple(self.done),
            rows=tuple(self.rows),
            slots=tuple(self.slots),
            over_time=tuple(one.key for one in self.slots if one.out_s > until_s + NEAR_S),
            no_second=tuple(key for key in asked if self._goes(key) < 2),
            ends_s=ends_s,
            spare_s=round(until_s - ends_s, 6),
        )

    def _ends_s(self) -> float:
        return max([self.now_s, *(slot.out_s for slot in [*self.done, *self.slots])])

    def _goes(self, key: Key) -> int:
        return sum(slot.key == key for slot in [*self.done, *self.slots])

    # --- lane groups ---

    def _lane_group(self, group: Key) -> None:
        """Who is there in running order, then who is late and there by their turn."""
        its = [goer for goer in self.left if goer.group == group]
        members = [goer for goer in its if goer.key not in self.late]
        behind = [goer for goer in its if goer.key in self.late]
        for goer in sorted(behind, key=lambda goer: self.late[goer.key]):
            with_one, _ = self._turns(group, [*members, goer])
            if self.late[goer.key] <= with_one[-1][2]:
                members.append(goer)
        if not members:
            return
        turns, gap = self._turns(group, members)
        first_s = turns[0][2]
        under_way = self._under_way(group)
        briefed_s = None if under_way else briefed_until_s(self.hour, self.before, first_s)
        self._add(Part.LANE_GROUP, group, turns, gap, briefed_s, under_way=under_way)

    def _under_way(self, group: Key) -> bool:
        return group == self.lane.group and self.lane.last_start_s is not None

    def _turns(self, group: Key, members: Sequence[Goer]) -> tuple[list[Turn], int]:
        first_s = max(self.now_s, ready_s(self.hour, self.before))
        gap = gap_s(self.hour, members)
        if self._under_way(group) and self.before and self.lane.last_start_s is not None:
            own = [self.goers[one.key] for one in self.done if one.group == group]
            gap = gap_s(self.hour, [*own, *members])
            first_s = max(self.now_s, self.before.last_out_s, self.lane.last_start_s + gap)
        return turns(members, gap, first_s), gap

    # --- who goes when ready ---

    def _waiting(self) -> list[Wanting]:
        """First goes that no lane group has, the fastest first."""
        placed = {slot.key for slot in self.slots}
        left = [goer for goer in self.left if goer.key not in placed]
        left.sort(key=lambda goer: goer.pace_s_per_100m)
        return [Wanting(goer, 1, self.late.get(goer.key, self.now_s)) for goer in left]

    def _those_who_wait_go_meanwhile(self, asked: Sequence[Key]) -> None:
        """Second goes in the time in which the lane would wait for somebody late."""
        waiting = self._waiting()
        if waiting:
            turns, _ = in_turn(self.hour, waiting, self._first_start(Part.LAST))
            until_s = turns[0][2] - self.hour.change_over_s
            self._second_goes(asked, min(until_s, self.hour.until_s))

    def _second_goes(self, asked: Sequence[Key], until_s: float) -> None:
        wanting = []
        for key in asked:
            its = [slot for slot in [*self.done, *self.slots] if slot.key == key]
            if len(its) == 1:
                ready_s = its[0].out_s + self.hour.rest_s
                wanting.append(Wanting(self.goers[key], 2, ready_s))
        first_start = self._first_start(Part.SECOND)
        self._go(Part.SECOND, as_many_as_fit(self.hour, wanting, first_start, until_s))

    def _go(self, part: Part, wanting: Sequence[Wanting]) -> None:
        if wanting:
            turns, gap = in_turn(self.hour, wanting, self._first_start(part))
            self._add(part, None, turns, gap)

    def _first_start(self, part: Part) -> FirstStart:
        """After a change-over, unless swimmers of that part have the lane already."""
        before, last = self.before, self.done[-1] if self.done else None
        if before is None:
            return lambda gap: max(self.now_s, self.hour.briefing_s)
        if last is None or self.rows or self._part_of(last) is not part:
            return lambda gap: max(self.now_s, before.last_out_s + self.hour.change_over_s)
        return lambda gap: max(self.now_s, before.last_out_s, last.start_s + gap)

    def _part_of(self, slot: Slot) -> Part:
        late = slot.go_no == 1 and slot.group in self.lane.over
        return Part.LAST if late else slot.part

    def _add(
        self,
        part: Part,
        group: Key | None,
        turns: Sequence[Turn],
        gap: int,
        briefed_s: float | None = None,
        *,
        under_way: bool = False,
    ) -> None:
        row, slots = go_by_turns(self.hour, part, group, turns, gap, briefed_s)
        began_s = self.before.first_start_s if self.before and under_way else row.first_start_s
        self.before = Before(began_s, row.last_out_s)
        self.rows.append(row)
        self.slots += [self._late_marked(slot) for slot in slots]

    def _late_marked(self, slot: Slot) -> Slot:
        late = slot.part is Part.LANE_GROUP and slot.key in self.late
        return replace(slot, part=Part.LATE) if late else slot
