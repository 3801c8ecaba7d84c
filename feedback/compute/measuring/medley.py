"""In which stroke each length of an individual medley is swum."""

from __future__ import annotations

from feedback.compute.measuring.course import NEAR_M, Course

MEDLEY = "medley"
ORDER = ("butterfly", "backstroke", "breaststroke", "freestyle")
"""Four equal parts in this order: World Aquatics swimming rules, SW 9.1 (value from memory)."""


def strokes_by_rule(course: Course) -> tuple[str, ...]:
    """One stroke a length where the distance is four equal parts of whole lengths; () where the
    rule does not say it: a short go of a medley is swum as the coaches set it.

    >>> strokes_by_rule(Course(25.0, 200.0, "medley", "block"))[1:3]
    ('butterfly', 'backstroke')
    >>> strokes_by_rule(Course(25.0, 75.0, "medley", "block"))
    ()
    """
    each = course.distance_m / len(ORDER) / course.course_m
    whole = round(each)
    if whole < 1 or abs(each - whole) * course.course_m > NEAR_M:
        return ()
    return tuple(stroke for stroke in ORDER for _ in range(whole))
