"""When a swim is expected at a wall, from its pace: what the lane strip draws before anybody
has placed a mark. An expectation, and said to be one."""

from __future__ import annotations

from feedback.compute.measuring.course import Course


def expected_walls_s(
    *, course_m: float, distance_m: float, pace_s_per_100m: float
) -> tuple[float, ...]:
    """The start and each turn, in seconds from the start. The end is not among them.

    >>> expected_walls_s(course_m=25.0, distance_m=75.0, pace_s_per_100m=80.0)
    (0.0, 20.0, 40.0)
    >>> expected_walls_s(course_m=50.0, distance_m=25.0, pace_s_per_100m=80.0)
    (0.0,)
    >>> expected_walls_s(course_m=33.3, distance_m=100.0, pace_s_per_100m=100.0)  # three lengths
    (0.0, 33.3, 66.6)
    """
    lengths = Course(course_m, distance_m, "", "").lengths
    per_length_s = course_m * pace_s_per_100m / 100.0
    return tuple(per_length_s * n for n in range(lengths))


def expected_end_s(*, distance_m: float, pace_s_per_100m: float) -> float:
    """When the distance is swum, in seconds from the start.

    >>> expected_end_s(distance_m=75.0, pace_s_per_100m=80.0)
    60.0
    """
    return distance_m * pace_s_per_100m / 100.0
