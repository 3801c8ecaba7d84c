"""How fast the head goes where it passes a distance: what turns an error of its place into one of
time. Good enough for a ±, and no measure.
"""

from __future__ import annotations

from collections.abc import Iterator

from feedback.compute.measuring.events import Seen, place_of
from feedback.compute.measuring.swim_marks import Length, SwimMarks
from feedback.compute.measuring.times import Times

SLOWEST_M_PER_S = 0.3  # two places near each other may tell nearly none (judgement)


def head_speeds(swim: SwimMarks, times: Times) -> dict[str, float]:
    """Metres per second by the keys of heads: from the place known before it to the one known
    after it in the same length, walls among them; from or to its own where there is but one."""
    found = {}
    for length in swim.lengths:
        points = sorted(_known(length, swim, times))
        for head in length.heads:
            speed = _speed(head, points, times)
            if speed is not None:
                found[head.key] = max(speed, SLOWEST_M_PER_S)
    return found


def _speed(head: Seen, points: list[tuple[float, float]], times: Times) -> float | None:
    place = place_of(head)
    if place is None:
        return None
    here = times.at(head).value, place.value
    before = [one for one in points if one[0] < here[0] and one[1] < here[1]]
    after = [one for one in points if one[0] > here[0] and one[1] > here[1]]
    (t0, x0), (t1, x1) = (before or [here])[-1], (after or [here])[0]
    return (x1 - x0) / (t1 - t0) if t1 > t0 else None


def _known(length: Length, swim: SwimMarks, times: Times) -> Iterator[tuple[float, float]]:
    """(time, distance swum) of what is known of a length."""
    begin_m = (length.number - 1) * swim.course.course_m
    near = swim.lengths[max(0, length.number - 2) : length.number]
    for wall in (one.wall for one in near if one.wall):
        at = wall.touch if wall.number == length.number else wall.feet_leave or wall.touch
        if at is not None:
            yield times.at(at).value, wall.number * swim.course.course_m
    if length.number == 1 and all(one.view.clock_u_s is not None for one in length.heads):
        yield times.zero.at_s, begin_m
    for one in (length.breakout, *length.heads):
        place = place_of(one) if one is not None else None
        if one is not None and place is not None:
            yield times.at(one).value, place.value
