"""A pass through a swim's events: which to mark next, and about when it is to be expected.

Where it is expected is only where the picture jumps to; the mark is a person's. Nothing of what
is assumed here gets into a measure.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from feedback.compute.measuring.events import Event, Seen
from feedback.compute.measuring.strokes import MARKS_PER_CYCLE
from feedback.compute.measuring.swim_marks import NEAR_M, START, Course, Length, SwimMarks
from feedback.compute.measuring.turns import ZONES, TurnZone

# All of these are our choice: about where things are in a swim, good enough to jump to.
_START_S = {
    Event.START_SIGNAL: 0.0,
    Event.FIRST_MOVEMENT: 0.2,
    Event.FEET_LEAVE_BLOCK: 0.75,
    Event.FIRST_ENTRY: 1.1,
    Event.FULL_ENTRY: 1.4,
}
DIVE_M, DIVE_OUT_M, DIVE_FASTER = 3.0, 9.0, 1.6  # in at, out at, under water so much faster
PUSH_OUT_M, PUSH_FASTER = 6.0, 1.25
OPEN_TURN_S, CONTACT_S, AFTER_BREAKOUT_S = 0.8, 0.4, 0.4
HAND_S = {"freestyle": 0.65, "backstroke": 0.75, "breaststroke": 1.3, "butterfly": 1.1}
SLOWEST, FASTEST = 1.7, 0.6  # against the expected pace, as far as it is believed
BELIEVED_FROM_S = 5.0
TUMBLES = ("freestyle", "backstroke")


@dataclass(frozen=True)
class Step:
    """One event to mark in length `number`, 0 before the first. `events`: the one that is meant,
    then what may stand in its place. `repeats`: again and again until somebody goes on."""

    events: tuple[Event, ...]
    number: int = 0
    at_m: float | None = None
    repeats: bool = False

    @property
    def event(self) -> Event:
        return self.events[0]


@dataclass(frozen=True)
class Guided:
    """`done`: this person has marked it. `expected_s`: seconds from the start signal."""

    step: Step
    done: bool
    expected_s: float


def quick_pass(course: Course) -> tuple[Step, ...]:
    """The six marks that give the times that matter; fewer where the swim has no turn.

    >>> [step.event.value for step in quick_pass(Course(25.0, 50.0, "breaststroke", "block"))][2:5]
    ['breakout', 'hands-touch-wall', 'feet-leave-wall']
    """
    steps = [Step((Event.START_SIGNAL,))]
    if _dives(course):
        steps.append(Step((Event.FIRST_ENTRY,)))
    steps.append(Step((Event.BREAKOUT,), 1))
    if course.walls:
        steps.append(_touch(course, 1))
    if _turned(course, 1):
        steps += [Step((Event.FEET_LEAVE_WALL,), 1), Step((Event.BREAKOUT,), 2)]
    return tuple(steps)


def full_pass(course: Course, zone: TurnZone = ZONES[0]) -> tuple[Step, ...]:
    """All that this stroke and course need, length by length; the hands of a length follow its
    other marks, so that they are gone through in one sweep."""
    start = _START_S if _dives(course) else (Event.START_SIGNAL, Event.FIRST_MOVEMENT)
    steps = [Step((event,)) for event in start]
    for number in range(1, course.lengths + 1):
        steps += _length(course, number, zone)
    return tuple(steps)


def _length(course: Course, number: int, zone: TurnZone) -> Iterator[Step]:
    low_m = (number - 1) * course.course_m
    high_m = min(number * course.course_m, course.distance_m)
    after = {5.0, 10.0, 15.0} if number == 1 else {5.0, zone.out_m}
    before = {high_m - zone.in_m} if _turned(course, number) else set()
    marked = sorted(m for m in {low_m + one for one in after} | before if low_m < m < high_m)
    out_m = low_m + _out_m(course, number)
    yield from (Step((Event.HEAD_AT_DISTANCE,), number, m) for m in marked if m < out_m)
    yield Step((Event.BREAKOUT,), number)
    yield from (Step((Event.HEAD_AT_DISTANCE,), number, m) for m in marked if m >= out_m)
    if course.stroke_of(number) in MARKS_PER_CYCLE:
        yield Step((Event.HAND_ENTRY,), number, repeats=True)
    if number <= course.walls:
        yield from _wall(course, number)


def _wall(course: Course, number: int) -> Iterator[Step]:
    yield _touch(course, number)
    if _turned(course, number):
        if not _tumbles(course, number):
            yield Step((Event.FEET_TOUCH_WALL,), number)
        yield Step((Event.FEET_LEAVE_WALL,), number)


def _touch(course: Course, number: int) -> Step:
    hands, feet = Event.HANDS_TOUCH_WALL, Event.FEET_TOUCH_WALL
    return Step((feet, hands) if _tumbles(course, number) else (hands, feet), number)


def _tumbles(course: Course, number: int) -> bool:
    """A swim ends with the hands, whatever its turns are, and so does each stroke of a medley."""
    stroke = course.stroke_of(number)
    same = stroke == course.stroke_of(number + 1)
    return stroke in TUMBLES and same and _turned(course, number)


def _turned(course: Course, number: int) -> bool:
    """Whether another length follows; three of 33.3 m are 100 m, and no length is 0.1 m."""
    return number < course.lengths


def _dives(course: Course) -> bool:
    return course.start != "water"


def guided(
    steps: Sequence[Step], swim: SwimMarks, pace_s_per_100m: float, *, by: str = ""
) -> list[Guided]:
    """Each step, whether `by` has marked it, and when it is expected: between what is marked
    before and after it, else from the pace, as slow or fast as the swim has been so far."""
    expecting = _Expecting(swim, pace_s_per_100m)
    return [
        Guided(step, any(one.by == by for one in _found(step, swim)), expecting.at_s(step))
        for step in steps
    ]


def _found(step: Step, swim: SwimMarks) -> list[Seen]:
    """The marks that a step asks for; none of a step that goes on until somebody ends it."""
    if step.repeats:
        return []
    if step.event in START:
        return [swim.start[step.event]] if step.event in swim.start else []
    length = _length_of(step, swim)
    if length is None:
        return []
    at = [length.breakout, *(one for one in length.heads if _at(one, step))]
    if length.wall is not None:
        at += [length.wall.hands_touch, length.wall.feet_touch, length.wall.feet_leave]
    found = [one for one in at if one is not None and one.event in step.events]
    return [one for one in found if step.at_m is None or _at(one, step)]


def _at(one: Seen, step: Step) -> bool:
    return None not in (one.distance_m, step.at_m) and (
        abs((one.distance_m or 0.0) - (step.at_m or 0.0)) <= NEAR_M
    )


def _length_of(step: Step, swim: SwimMarks) -> Length | None:
    return swim.lengths[step.number - 1] if 0 < step.number <= len(swim.lengths) else None


class _Expecting:
    """Marks that are there, beside when the pace alone would have them."""

    def __init__(self, swim: SwimMarks, pace_s_per_100m: float) -> None:
        self.swim, self.course = swim, swim.course
        self.speed = 100.0 / pace_s_per_100m
        anchors = [(0.0, 0.0)]
        for step in full_pass(self.course):
            found = [one for one in _found(step, swim) if one.view.clock_u_s is not None]
            if found:
                anchors.append((self._by_pace_s(step), found[0].frame_s))
        self.anchors = sorted(anchors[1:] if len(anchors) > 1 else anchors)

    def at_s(self, step: Step) -> float:
        if step.repeats and (after := self._after_last_hand_s(step)) is not None:
            return after
        by_pace = self._by_pace_s(step)
        before = [one for one in self.anchors if one[0] <= by_pace]
        beyond = [one for one in self.anchors if one[0] > by_pace]
        if before and beyond:
            (p0, t0), (p1, t1) = before[-1], beyond[0]
            return t0 + (by_pace - p0) / (p1 - p0) * max(t1 - t0, 0.0)
        if before:
            return before[-1][1] + (by_pace - before[-1][0]) * self._slower()
        return max(0.0, beyond[0][1] - (beyond[0][0] - by_pace) * self._slower())

    def _slower(self) -> float:
        p, t = self.anchors[-1]
        return min(max(t / p, FASTEST), SLOWEST) if p >= BELIEVED_FROM_S else 1.0

    def _after_last_hand_s(self, step: Step) -> float | None:
        length = _length_of(step, self.swim)
        hands = length.hands if length else ()
        if not hands:
            breakout = length.breakout if length else None
            return breakout.frame_s + AFTER_BREAKOUT_S if breakout else None
        usual = HAND_S.get(self.course.stroke_of(step.number), HAND_S["freestyle"])
        apart = hands[-1].frame_s - hands[-2].frame_s if len(hands) > 1 else usual
        return hands[-1].frame_s + apart

    def _by_pace_s(self, step: Step) -> float:
        if step.event in _START_S:
            return _START_S[step.event]
        low_m = (step.number - 1) * self.course.course_m
        if step.event is Event.BREAKOUT:
            return self._swum_s(step.number, _out_m(self.course, step.number))
        if step.event is Event.HAND_ENTRY:
            return self._swum_s(step.number, _out_m(self.course, step.number)) + AFTER_BREAKOUT_S
        if step.at_m is not None:
            return self._swum_s(step.number, step.at_m - low_m)
        touch = self._swum_s(step.number, self.course.course_m)
        if step.event is Event.FEET_LEAVE_WALL:
            return touch + self._turn_s(step.number)
        open_turn = step.event is Event.FEET_TOUCH_WALL and not _tumbles(self.course, step.number)
        return touch + (OPEN_TURN_S if open_turn else 0.0)

    def _turn_s(self, number: int) -> float:
        return CONTACT_S + (0.0 if _tumbles(self.course, number) else OPEN_TURN_S)

    def _swum_s(self, number: int, way_m: float) -> float:
        """When the head is `way_m` into length `number`."""
        out_m = _out_m(self.course, number)
        dives = number == 1 and _dives(self.course)
        faster = DIVE_FASTER if dives else PUSH_FASTER
        if number == 1:
            begun_s = _START_S[Event.FIRST_ENTRY] if dives else 0.5
        else:
            begun_s = self._swum_s(number - 1, self.course.course_m) + self._turn_s(number - 1)
        in_m = min(DIVE_M, out_m) if dives else 0.0
        if way_m <= in_m:
            return begun_s * way_m / in_m if in_m else begun_s
        below_m = min(way_m, out_m) - in_m
        above_m = max(way_m - out_m, 0.0)
        return begun_s + below_m / (faster * self.speed) + above_m / self.speed


def _out_m(course: Course, number: int) -> float:
    """How far into a length the head comes up."""
    out_m = DIVE_OUT_M if number == 1 and _dives(course) else PUSH_OUT_M
    return min(out_m, 0.4 * course.course_m)
