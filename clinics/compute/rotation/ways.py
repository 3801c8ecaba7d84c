"""What could be changed so that a pool hour fits: each way planned anew, none of it guessed."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from clinics.compute.rotation.fitting import how_many_fit, spare_without
from clinics.compute.rotation.order import by_group, even_groups
from clinics.compute.rotation.timetable import plan_hour
from clinics.compute.rotation.types import ClinicHour, Goer, Key, Timetable

# Choices of ours, near common practice; no published source.
LEAST_BRIEFING_S, BRIEFING_STEP_S = 30, 5
LEAST_DISTANCE_M, DISTANCE_STEP_M = 25, 5
LEAST_IN_GROUP, MOST_IN_GROUP = 4, 6
MOST_MOVES = 5


class Change(StrEnum):
    """What is changed; `Way.to` is its new value."""

    BRIEF_ON_DECK = "brief-on-deck"  # while the group before swims
    SHORTER_BRIEFING = "shorter-briefing"  # s
    MOVE_SLOWEST = "move-slowest"  # of a group to a slower one; `to`: how many
    REGROUP = "regroup"  # all by pace into even groups; `to`: how many groups
    SHORTER_DISTANCE = "shorter-distance"  # m
    FEWER_SWIMMERS = "fewer-swimmers"  # how many fit, in running order
    MORE_POOL_TIME = "more-pool-time"  # s


@dataclass(frozen=True)
class Move:
    """A swimmer who goes with another group, where they go by their pace. `gains_s` after the
    moves that stand before it."""

    key: Key
    from_group: Key
    to_group: Key
    gains_s: float


@dataclass(frozen=True)
class Way:
    """One change by itself. `spare_s` is what is to spare with it (negative: it is not enough
    alone) and `gains_s` how much more that is. `groups` of a REGROUP: swimmers' keys in running
    order."""

    change: Change
    to: float
    spare_s: float
    gains_s: float
    moves: tuple[Move, ...] = ()
    groups: tuple[tuple[Key, ...], ...] = ()

    @property
    def fits(self) -> bool:
        return self.spare_s >= 0


def ways_to_fit(plan: Timetable) -> list[Way]:
    """Ways in the order of Change, what asks least of people first; only those that gain
    something, each by itself. Empty: the hour fits as it is.

    Gains of two ways do not add up exactly: plan the hour with the first, and ask again.
    """
    if plan.fits:
        return []
    found = (_on_deck, _briefing, _moves, _regroup, _distance, _fewer, _more_time)
    return [way for each in found for way in each(plan) if way.gains_s > 0]


def _way(plan: Timetable, change: Change, to: float, spare_s: float) -> Way:
    return Way(change, to, spare_s, spare_s - plan.spare_s)


def _spare_s(plan: Timetable, hour: ClinicHour) -> float:
    return plan_hour(hour, plan.goers, plan.groups).spare_s


def _on_deck(plan: Timetable) -> Iterator[Way]:
    if not plan.hour.briefs_on_deck:
        spare_s = _spare_s(plan, replace(plan.hour, briefs_on_deck=True))
        yield _way(plan, Change.BRIEF_ON_DECK, 1, spare_s)


def _briefing(plan: Timetable) -> Iterator[Way]:
    """The longest that fits; the shortest there is if none does."""
    way = None
    for briefing_s in _steps_below(plan.hour.briefing_s, LEAST_BRIEFING_S, BRIEFING_STEP_S):
        spare_s = _spare_s(plan, replace(plan.hour, briefing_s=float(briefing_s)))
        way = _way(plan, Change.SHORTER_BRIEFING, briefing_s, spare_s)
        if way.fits:
            break
    if way:
        yield way


def _distance(plan: Timetable) -> Iterator[Way]:
    """The longest that fits; the shortest there is if none does."""
    way = None
    for distance_m in _steps_below(plan.hour.distance_m, LEAST_DISTANCE_M, DISTANCE_STEP_M):
        spare_s = _spare_s(plan, replace(plan.hour, distance_m=float(distance_m)))
        way = _way(plan, Change.SHORTER_DISTANCE, distance_m, spare_s)
        if way.fits:
            break
    if way:
        yield way


def _steps_below(value: float, least: int, step: int) -> range:
    """Multiples of `step` that are less than the value, the largest first.

    >>> list(_steps_below(42.0, 25, 5)), list(_steps_below(40.0, 30, 5))
    ([40, 35, 30, 25], [35, 30])
    >>> list(_steps_below(25.0, 25, 5))
    []
    """
    largest = (math.ceil(value / step) - 1) * step
    return range(largest, least - 1, -step)


def _moves(plan: Timetable) -> Iterator[Way]:
    """The best move, again and again, until the hour fits or nothing gains any more."""
    goers, spare_s, moves = list(plan.goers), plan.spare_s, list[Move]()
    while spare_s < 0 and len(moves) < MOST_MOVES:
        tried = [_moved(goers, one, group) for one, group in _possible_moves(plan, goers)]
        if not tried:
            break
        spares = [plan_hour(plan.hour, each, plan.groups).spare_s for each, _ in tried]
        best = max(range(len(tried)), key=lambda n: spares[n])
        if spares[best] <= spare_s:
            break
        goers, move = tried[best]
        moves.append(replace(move, gains_s=spares[best] - spare_s))
        spare_s = spares[best]
    if moves:
        way = _way(plan, Change.MOVE_SLOWEST, len(moves), spare_s)
        yield replace(way, moves=tuple(moves))


def _possible_moves(plan: Timetable, goers: Sequence[Goer]) -> list[tuple[Goer, Key]]:
    """Each group's slowest to each group whose gap that does not widen; no group is emptied."""
    members = by_group(goers)
    slowest = {
        group: max(its, key=lambda goer: goer.pace_s_per_100m) for group, its in members.items()
    }
    return [
        (slowest[group], other)
        for group in plan.groups
        for other in plan.groups
        if other != group
        and len(members[group]) > 1
        and slowest[group].pace_s_per_100m <= slowest[other].pace_s_per_100m
    ]


def _moved(goers: Sequence[Goer], one: Goer, group: Key) -> tuple[list[Goer], Move]:
    """The swimmer stands before the first of the other group who is slower."""
    left = [goer for goer in goers if goer is not one]
    theirs = [n for n, goer in enumerate(left) if goer.group == group]
    slower = [n for n in theirs if left[n].pace_s_per_100m > one.pace_s_per_100m]
    at = slower[0] if slower else theirs[-1] + 1
    left.insert(at, replace(one, group=group))
    return left, Move(one.key, one.group, group, 0.0)


def _regroup(plan: Timetable) -> Iterator[Way]:
    """The number of groups that is best, of those with usual sizes (or sizes as planned)."""
    count, sizes = len(plan.goers), [row.swimmers for row in plan.rows]
    fewest = math.ceil(count / max(MOST_IN_GROUP, *sizes))
    most = max(fewest, count // min(LEAST_IN_GROUP, *sizes))
    best: Way | None = None
    for number in range(fewest, most + 1):
        groups = even_groups(plan.goers, number)
        goers = [replace(one, group=n) for n, its in enumerate(groups) for one in its]
        way = _way(plan, Change.REGROUP, number, plan_hour(plan.hour, goers).spare_s)
        keys = tuple(tuple(one.key for one in its) for its in groups)
        if best is None or way.spare_s > best.spare_s:
            best = replace(way, groups=keys)
    if best:
        yield best


def _fewer(plan: Timetable) -> Iterator[Way]:
    fit = how_many_fit(plan.hour, plan.goers, plan.groups)
    if fit:
        spare_s = spare_without(plan.hour, plan.goers[:fit], plan.groups)
        yield _way(plan, Change.FEWER_SWIMMERS, fit, spare_s)


def _more_time(plan: Timetable) -> Iterator[Way]:
    """Whole minutes more."""
    more_s = 60.0 * math.ceil(-plan.spare_s / 60)
    longer = replace(plan.hour, pool_time_s=plan.hour.pool_time_s + more_s)
    yield _way(plan, Change.MORE_POOL_TIME, longer.pool_time_s, _spare_s(plan, longer))
