"""The rest of the pool hour, planned again on the day from what has happened so far."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence

from clinics.compute.checks import known, raise_if_any, within
from clinics.compute.rotation.inputs import DAY_S
from clinics.compute.rotation.lane_log import Started
from clinics.compute.rotation.rest import Day, Late, Rest
from clinics.compute.rotation.types import Key, Part, Timetable


def replan(
    plan: Timetable,
    *,
    started: Iterable[Started] = (),
    no_shows: Collection[Key] = (),
    late: Sequence[Late] = (),
    second_goes: Sequence[Key] = (),
    now_s: float,
) -> Day:
    """The timetable from `now_s` on: everybody who has not gone and is no no-show goes once.

    The same input gives the same day; nothing is kept from one call to the next. In it are:

    - the rest of the group that has the lane (lane_log.py), at its gap; then the other groups.
      A briefing that could have been held by now has been held;
    - who is `late`: at the end of their group, if they are there when their turn comes; else
      after all groups, with whoever has not gone though their group is over;
    - `second_goes` in the order in which they were asked for, at the end or while the lane
      waits for somebody late; only rested, and only those that end within the pool time.

    Who has gone is not late and no no-show, whatever else is said. Whoever is not there and was
    not called a no-show is awaited: their slot moves on with now. A pool hour whose groups or
    swimmers were changed is planned anew (plan_hour) and that plan given here with the same
    start log. BadInput names keys that the plan does not know, and times that are more than a
    day from the begin of the pool time.
    """
    started = list(started)
    _check_keys(plan, started, no_shows, late, second_goes)
    _check_times(started, late, now_s)
    return Rest(plan, started, no_shows, late, now_s).day(list(dict.fromkeys(second_goes)))


def slip_s(plan: Timetable, day: Day) -> float:
    """By how much the clinic is behind its timetable (negative: ahead): the start of the next
    swimmer of a lane group against the planned one. If none is left, the last start of one.

    Who is late, or was overtaken by somebody of their group, is not asked: their own delay is
    not the clinic's. Groups that changed places need a new plan first. Nobody to ask: 0.
    """
    planned = {slot.key: slot.start_s for slot in plan.slots}
    place = {goer.key: n for n, goer in enumerate(plan.goers)}
    done = [slot for slot in day.done if slot.go_no == 1 and slot.key in place]
    furthest: dict[Key, int] = {}
    for slot in done:
        furthest[slot.group] = max(place[slot.key], furthest.get(slot.group, -1))
    for slot in day.slots:
        on_time = slot.part is Part.LANE_GROUP and slot.key in place
        if on_time and place[slot.key] > furthest.get(slot.group, -1):
            return slot.start_s - planned[slot.key]
    last = max(done, key=lambda slot: place[slot.key], default=None)
    return last.start_s - planned[last.key] if last else 0.0


def _check_keys(
    plan: Timetable,
    started: Sequence[Started],
    no_shows: Collection[Key],
    late: Sequence[Late],
    second_goes: Sequence[Key],
) -> None:
    errors: list[tuple[str, str]] = []
    keys = [goer.key for goer in plan.goers]
    known("started", [one.key for one in started], keys, errors)
    known("no_shows", no_shows, keys, errors)
    known("late", [one.key for one in late], keys, errors)
    known("second_goes", second_goes, keys, errors)
    raise_if_any(errors)


def _check_times(started: Sequence[Started], late: Sequence[Late], now_s: float) -> None:
    errors: list[tuple[str, str]] = []
    within(now_s, -DAY_S, DAY_S, "now_s", errors)
    for start in started:
        within(start.at_s, -DAY_S, DAY_S, f"started {start.key}.at_s", errors)
    for one in late:
        within(one.from_s, -DAY_S, DAY_S, f"late {one.key}.from_s", errors)
    raise_if_any(errors)
