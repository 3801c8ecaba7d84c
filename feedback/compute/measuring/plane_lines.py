"""What a plane shows in its picture, what its marks are off, and how far two spots are apart."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from clinics.compute.errors import BadInput
from clinics.compute.errors import say as _
from feedback.compute.measuring import homography
from feedback.compute.measuring.plane import Plane, Spot
from feedback.compute.measuring.uncertain import Quantity, Source

STEP_M, FINE_STEP_M = 5.0, 1.0
NEAR_SHARE = 0.15  # of the marks' extent: so far beyond them a line is still drawn


@dataclass(frozen=True)
class Line:
    """Of one distance along the course: its two ends in pixels of the picture."""

    along_m: float
    ends: tuple[tuple[float, float], tuple[float, float]]


def distance_lines(plane: Plane) -> list[Line]:
    """At each 5 m within or near the marks; at each metre where that would be one line or none.
    Lines that reach the plane's horizon are left out."""
    found = _lines(plane, STEP_M)
    return found if len(found) >= 2 else _lines(plane, FINE_STEP_M)


def _lines(plane: Plane, step_m: float) -> list[Line]:
    first_m, last_m = _reach([one.x_m for one in plane.marks])
    bottom_m, top_m = _reach([one.y_m for one in plane.marks])
    lines = []
    for n in range(math.ceil(first_m / step_m - 1e-9), math.floor(last_m / step_m + 1e-9) + 1):
        along_m = n * step_m
        if _in_front(plane, along_m, bottom_m) and _in_front(plane, along_m, top_m):
            ends = (plane.pixel(along_m, bottom_m), plane.pixel(along_m, top_m))
            lines.append(Line(along_m, ends))
    return lines


def _reach(values: list[float]) -> tuple[float, float]:
    near = NEAR_SHARE * (max(values) - min(values))
    return min(values) - near, max(values) + near


def _in_front(plane: Plane, x_m: float, y_m: float) -> bool:
    """On the marks' side of the camera. Places and marks are compared by the sign of what the
    inverse divides by; near nothing a place is at the horizon."""
    back = np.linalg.inv(plane.matrix)

    def depth(x: float, y: float) -> float:
        return float(back[2] @ np.array([x, y, 1.0]))

    of_marks = [depth(one.x_m, one.y_m) for one in plane.marks]
    return depth(x_m, y_m) * math.copysign(1.0, of_marks[0]) > 0.05 * min(map(abs, of_marks))


def residual_m(plane: Plane) -> float | None:
    """Root mean square of what each mark is off in the pool; None with four, which always fit."""
    if plane.residual_px is None:
        return None
    picture = np.array([(one.px, one.py) for one in plane.marks], dtype=float)
    metres = np.array([(one.x_m, one.y_m) for one in plane.marks], dtype=float)
    off = homography.moved(plane.matrix, picture) - metres
    return float(np.sqrt(np.mean(np.sum(off**2, axis=1))))


def apart(one: Spot, other: Spot) -> Quantity:
    """How far two spots of one plane are apart, in metres; the plane's own error, which both
    share, counts once. BadInput: they are the same place.

    >>> from feedback.compute.measuring.uncertain import Shape
    >>> shared = Source("plane", Shape.BELL, 0.5)
    >>> spots = [Spot(Quantity(x, {shared: 1.0}), Quantity(0.0), False) for x in (2.0, 5.0)]
    >>> apart(*spots).value, apart(*spots).u
    (3.0, 0.0)
    """
    dx, dy = other.x - one.x, other.y - one.y
    far = math.hypot(dx.value, dy.value)
    if far == 0:
        raise BadInput([("", _("Both points are the same one. Tap two that lie apart."))])
    parts: dict[Source, float] = {}
    for part in (dx, dy):
        for source, c in part.parts.items():
            parts[source] = parts.get(source, 0.0) + c * part.value / far
    return Quantity(far, parts)
