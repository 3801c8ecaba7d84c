"""What the start log of the day says about the groups: who is out of the lane again, which
group has the lane now, and which are over."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from clinics.compute.rotation.gaps import NEAR_S, in_lane_s
from clinics.compute.rotation.types import ClinicHour, Goer, Key, Part, Slot


@dataclass(frozen=True)
class Started:
    """A start that was logged, in seconds from the begin of the pool time."""

    key: Key
    at_s: float


@dataclass(frozen=True)
class LaneNow:
    """`group` has the lane, or is the first to have it. `first_start_s` and `last_start_s` are
    those of its own starts, None before the first. `over`: groups that had the lane before."""

    group: Key
    over: frozenset[Key]
    first_start_s: float | None = None
    last_start_s: float | None = None


def went(hour: ClinicHour, goers: Mapping[Key, Goer], started: Iterable[Started]) -> list[Slot]:
    """The goes of the log in order of time, each swimmer's numbered from 1. Out when expected,
    or when the next one started: that was into a clear lane.

    Two starts of one swimmer of which the second would come while they still swim the first are
    one start that was logged twice: nobody is in two places.
    """
    free_s: dict[Key, float] = {}
    times: dict[Key, int] = {}
    slots: list[Slot] = []
    place = {key: n for n, key in enumerate(goers)}  # for starts at the same instant
    for one in sorted(started, key=lambda one: (one.at_s, place[one.key])):
        goer = goers[one.key]
        if one.at_s < free_s.get(one.key, one.at_s) - NEAR_S:
            continue
        if slots and slots[-1].out_s > one.at_s:
            slots[-1] = replace(slots[-1], out_s=one.at_s)
        free_s[one.key] = one.at_s + in_lane_s(hour, goer)
        times[one.key] = go_no = times.get(one.key, 0) + 1
        part = Part.SECOND if go_no > 1 else Part.LANE_GROUP
        slots.append(Slot(one.key, goer.group, go_no, one.at_s, free_s[one.key], part))
    return slots


def lane_now(
    groups: Sequence[Key], slots: Iterable[Slot], expected: Mapping[Key, Collection[Key]]
) -> LaneNow:
    """Which group has the lane after these first goes, given who is `expected` in each group
    without a delay, whether they have gone or not.

    Somebody may go with another group, so a single start of another group means nothing. The
    lane has passed to it when nobody was left of the one before, or with two of its starts in a
    row. A group that is over stays so; who of it goes later is late.
    """
    group, over, previous = groups[0], set[Key](), groups[0]
    gone: dict[Key, list[Slot]] = {each: [] for each in groups}
    for slot in slots:
        own = slot.group
        if own in over:
            continue
        left = set(expected.get(group, ())) - {one.key for one in gone[group]}
        if own != group and (not left or previous == own):
            if gone[group] or not left:
                over.add(group)
            group = own
        gone[own].append(slot)
        previous = own
    its = [slot.start_s for slot in gone[group]]
    first_s, last_s = (min(its), max(its)) if its else (None, None)
    return LaneNow(group, frozenset(over), first_s, last_s)
