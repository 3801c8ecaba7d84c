"""A point of the body over several frames: where it goes, and how fast between them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from feedback.compute.measuring.uncertain import Quantity


@dataclass(frozen=True)
class Step:
    """Between two frames: mean speed along the course (positive: away from the start wall) and
    upward, metres per second, at the middle of the two times."""

    at_s: float
    along: Quantity
    upward: Quantity


@dataclass(frozen=True)
class OnFrame:
    """A place on a frame. `at`: its time; two times of one view share its clock's error."""

    at: Quantity
    x_m: Quantity
    y_m: Quantity


def steps(frames: Sequence[OnFrame]) -> list[Step]:
    """Speeds between each two frames that follow each other. ValueError unless times grow.

    Clicking errors weigh the more the nearer two frames are: speeds over single frames are
    mostly that, and their ± says so.
    """
    made = []
    for one, after in pairwise(frames):
        span = after.at - one.at
        if span.value <= 0:
            raise ValueError("frames in order of time")
        made.append(
            Step(
                (one.at.value + after.at.value) / 2,
                (after.x_m - one.x_m) / span,
                (after.y_m - one.y_m) / span,
            )
        )
    return made
