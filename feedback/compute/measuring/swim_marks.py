"""The marks of a swim put in order: its start, its lengths, its walls; and what does not go
together, in sentences that name the marks.

Nothing is guessed: an event that nobody marked is None, and what depends on it is not computed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from clinics.compute.errors import say as _
from feedback.compute.measuring.course import NEAR_M as NEAR_M
from feedback.compute.measuring.course import Course as Course
from feedback.compute.measuring.course import Length as Length
from feedback.compute.measuring.course import Wall as Wall
from feedback.compute.measuring.course import Wrong as Wrong
from feedback.compute.measuring.distances import distances_wrong, placed_in
from feedback.compute.measuring.events import NAMES, Event, Seen, is_anywhere
from feedback.compute.measuring.placed_twice import SAME_S

WALL = (Event.HANDS_TOUCH_WALL, Event.FEET_TOUCH_WALL, Event.FEET_LEAVE_WALL)
START = (
    Event.START_SIGNAL,
    Event.FIRST_MOVEMENT,
    Event.FEET_LEAVE_BLOCK,
    Event.FIRST_ENTRY,
    Event.FULL_ENTRY,
)
AT_WALL_S = 5.0  # touch and push-off of one turn follow each other within this
FASTEST_M_PER_S = 3.0  # nobody comes to a wall sooner, dive and all (judgement)


@dataclass(frozen=True)
class SwimMarks:
    """`start`: one mark of each event of the start that was placed; from the water the feet that
    leave the wall are one of them."""

    course: Course
    start: dict[Event, Seen]
    lengths: tuple[Length, ...]
    wrong: tuple[Wrong, ...] = field(default=())

    @property
    def walls(self) -> list[Wall]:
        return [one.wall for one in self.lengths if one.wall]


def put_in_order(marks: Iterable[Seen], course: Course, *, by: str = "") -> SwimMarks:
    """`by`: of an event that several people marked, this person's mark is taken; else the one
    of which the frame tells most. Marks that are said to be wrong take no part."""
    wrong: list[Wrong] = []
    ordered = _one_of_each(_in_one_order(list(marks)), by)
    begun = [one for one in ordered if one.event in START or _pushes_off(one, course)]
    wrong += _twice(ordered)
    wrong += _start_order({one.event: one for one in begun})
    swum = [one for one in ordered if one not in begun]
    bad = _named(wrong)
    parts = _parts([one for one in swum if one.key not in bad])
    if len(parts) > 1 and len(parts) - 1 > course.walls:
        wrong.append(_too_many_walls(parts, course))
        too_many = _named(wrong[-1:])
        parts = [[one for one in part if one.key not in too_many] for part in parts]
        parts = parts[: course.walls + 1]
    lengths = tuple(_length(n, part, course, wrong) for n, part in enumerate(parts, start=1))
    elsewhere = list(distances_wrong(lengths, course))
    lengths = tuple(_without_distances(one, _named(elsewhere)) for one in lengths)
    begun, unplaced = placed_in([one for one in begun if one.key not in bad], 1, course)
    start = {one.event: one for one in begun}
    return SwimMarks(course, start, lengths, (*wrong, *elsewhere, *unplaced))


def _named(wrong: Iterable[Wrong]) -> set[str]:
    return {key for one in wrong for key in one.marks}


def _in_one_order(marks: Sequence[Seen]) -> list[Seen]:
    """Those that have an order among each other: of the views whose clocks are known, else of the
    one view with most marks. A view without a clock is on an axis of its own, and nobody knows in
    which length its marks are; of the start's events it tells those that no other mark does."""
    count = Counter(_axis(one) for one in marks)
    axes = sorted(count, key=lambda axis: (axis != "", -count[axis], axis))
    kept = [one for one in marks if axes and _axis(one) == axes[0]]
    for axis in axes[1:]:
        known = {one.event for one in kept}
        its = [one for one in marks if _axis(one) == axis and one.event in START]
        kept += [one for one in its if one.event not in known]
    return kept


def _axis(one: Seen) -> str:
    return "" if one.view.clock_u_s is not None else one.view.key


def _pushes_off(one: Seen, course: Course) -> bool:
    """Feet that leave the wall at the start from the water: sooner after the signal than anybody
    comes to another wall."""
    if one.event is not Event.FEET_LEAVE_WALL or course.start != "water" or _axis(one):
        return False
    return one.frame_s < course.course_m / FASTEST_M_PER_S


def _without_distances(length: Length, wrong: set[str]) -> Length:
    """From a distance that is said to be wrong nothing follows; when the head came up stands."""
    out = length.breakout
    if out is not None and out.key in wrong:
        out = replace(out, distance_m=None, distance_u_m=0.0)
    heads = tuple(one for one in length.heads if one.key not in wrong)
    return replace(length, breakout=out, heads=heads)


def _one_of_each(marks: Iterable[Seen], by: str) -> list[Seen]:
    """One mark for each happening, in order of time, whoever and whatever view it is from."""
    taken: list[Seen] = []
    for one in sorted(marks, key=lambda mark: (mark.frame_s, mark.key)):
        same = next((n for n, t in enumerate(taken) if _same_happening(t, one)), None)
        if same is None:
            taken.append(one)
        elif _rank(one, by) < _rank(taken[same], by):
            taken[same] = one
    return sorted(taken, key=lambda mark: (mark.frame_s, mark.key))


def _same_happening(one: Seen, other: Seen) -> bool:
    if one.event is not other.event or one.distance_m != other.distance_m or is_anywhere(one):
        return False
    apart_s = abs(one.frame_s - other.frame_s)
    if one.event is Event.HAND_ENTRY:
        return apart_s < SAME_S / 2 and (one.by, one.view) != (other.by, other.view)
    return apart_s <= SAME_S


def _rank(one: Seen, by: str) -> tuple[bool, float, str]:
    return (one.by != by, one.interval_s + (one.view.clock_u_s or 0.0), one.key)


def _twice(ordered: Sequence[Seen]) -> list[Wrong]:
    """Events of the start that stand at two times."""
    found = []
    for event in START:
        its = [one for one in ordered if one.event is event]
        if len(its) > 1:
            keys = tuple(one.key for one in its)
            times = {"one": f"{its[0].frame_s:.2f}", "other": f"{its[-1].frame_s:.2f}"}
            told = _(
                "“%(event)s” is marked at %(one)s s and at %(other)s s. A swim has one: take the "
                "other mark away.",
                event=NAMES[event],
                **times,
            )
            found.append(Wrong(keys, told))
    return found


def _start_order(start: dict[Event, Seen]) -> list[Wrong]:
    placed = [start[event] for event in START if event in start]
    axes = dict.fromkeys(_axis(one) for one in placed)
    pairs = [pair for axis in axes for pair in pairwise(m for m in placed if _axis(m) == axis)]
    return [_out_of_order(one, after) for one, after in pairs if after.frame_s < one.frame_s]


def _out_of_order(one: Seen, after: Seen) -> Wrong:
    told = _(
        "“%(after)s” at %(after_s)s s stands before “%(one)s” at %(one_s)s s. It comes after it: "
        "look at both frames.",
        one=NAMES[one.event],
        one_s=f"{one.frame_s:.2f}",
        after=NAMES[after.event],
        after_s=f"{after.frame_s:.2f}",
    )
    return Wrong((one.key, after.key), told)


def _parts(swum: Sequence[Seen]) -> list[list[Seen]]:
    """Cut after each wall: what is marked at one wall stands together."""
    parts: list[list[Seen]] = [[]]
    at_wall: Seen | None = None
    for one in swum:
        if at_wall is not None and not _still_at(at_wall, one, parts[-1]):
            parts.append([])
            at_wall = None
        if one.event in WALL and at_wall is None:
            at_wall = one
        parts[-1].append(one)
    if at_wall is not None:
        parts.append([])
    return parts


def _still_at(first: Seen, one: Seen, part: Sequence[Seen]) -> bool:
    """Whether this wall event belongs to the turn that `first` began."""
    if one.event not in WALL or one.frame_s - first.frame_s > AT_WALL_S:
        return False
    return all(other.event is not one.event for other in part if other.event in WALL)


def _too_many_walls(parts: Sequence[Sequence[Seen]], course: Course) -> Wrong:
    extra = [one for part in parts[course.walls : -1] for one in part if one.event in WALL]
    told = _(
        "There are marks at %(marked)s walls; %(distance)s m in a %(course)s m pool reach "
        "%(walls)s.",
        marked=len(parts) - 1,
        distance=f"{course.distance_m:g}",
        course=f"{course.course_m:g}",
        walls=course.walls,
    )
    return Wrong(tuple(one.key for one in extra), told)


def _length(number: int, part: Sequence[Seen], course: Course, wrong: list[Wrong]) -> Length:
    part, unplaced = placed_in(part, number, course)
    wrong += unplaced
    breakouts = [one for one in part if one.event is Event.BREAKOUT]
    if len(breakouts) > 1:
        told = _(
            "The head breaks the surface %(count)s times in length %(number)s. Mark it once, or "
            "mark the wall between.",
            count=len(breakouts),
            number=number,
        )
        wrong.append(Wrong(tuple(one.key for one in breakouts), told))
    breakout = breakouts[0] if len(breakouts) == 1 else None
    hands = [one for one in part if one.event is Event.HAND_ENTRY]
    if breakout is not None:
        early = [one for one in hands if one.frame_s < breakout.frame_s]
        wrong += [_out_of_order(breakout, one) for one in early]
        hands = [one for one in hands if one not in early]
    heads = tuple(one for one in part if one.event is Event.HEAD_AT_DISTANCE)
    return Length(number, breakout, tuple(hands), heads, _wall(number, part, wrong))


def _wall(number: int, part: Sequence[Seen], wrong: list[Wrong]) -> Wall | None:
    at = {one.event: one for one in part if one.event in WALL}
    if not at:
        return None
    placed = [at[event] for event in WALL if event in at]
    bad = [_out_of_order(a, b) for a, b in pairwise(placed) if b.frame_s < a.frame_s]
    if bad:
        wrong += bad
        return Wall(number)
    return Wall(
        number,
        at.get(Event.HANDS_TOUCH_WALL),
        at.get(Event.FEET_TOUCH_WALL),
        at.get(Event.FEET_LEAVE_WALL),
    )
