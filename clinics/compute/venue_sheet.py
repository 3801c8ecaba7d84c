"""Checks of what a venue sheet says in rows and lists: the depth profile, the ropes that come out.

A complaint's place is the field; its sentence names the row.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from clinics.compute.checks import Errors
from clinics.compute.errors import BadInput
from clinics.compute.errors import say as _
from clinics.compute.start_depth import least_depth

MOST_LANES = 20
MOST_POINTS = 100
Point = tuple[float, float]  # metres from the start wall, depth in metres


def depth_points(rows: object, *, course_m: float, errors: Errors) -> list[list[float]]:
    """The rows of a depth profile along the course, as they are kept; complaints go to `errors`.

    >>> depth_points([[6, 2.0], [1, 1.8]], course_m=25.0, errors=[])
    [[1.0, 1.8], [6.0, 2.0]]
    """
    if not isinstance(rows, list | tuple) or len(rows) > MOST_POINTS:
        told = _("Give at most %(most)s rows of two numbers each.", most=MOST_POINTS)
        errors.append(("depth_profile", told))
        return []
    points: list[Point] = []
    for number, row in enumerate(rows, start=1):
        point = _point(row)
        wrong = _wrong(point, course_m)
        if wrong is not None:
            errors.append(("depth_profile", _("Row %(row)s: %(why)s", row=number, why=wrong)))
        elif point is not None:
            points.append(point)
    return [list(point) for point in sorted(points)]


def _point(row: object) -> Point | None:
    if not isinstance(row, list | tuple) or len(row) != 2:
        return None
    x_m, depth_m = _number(row[0]), _number(row[1])
    return None if x_m is None or depth_m is None else (x_m, depth_m)


def _number(value: object) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if math.isfinite(value) else None


def _wrong(point: Point | None, course_m: float) -> str | None:
    """What is wrong with one point, by the rules that the depth for starts is computed with."""
    if point is None:
        return _("Give two numbers: metres from the start wall, and the depth there in metres.")
    if 0 <= course_m < point[0]:
        told = {"x": f"{point[0]:g}", "course": f"{course_m:g}"}
        return _("%(x)s m lies beyond the far wall; the course is %(course)s m.", **told)
    try:
        least_depth([point])
    except BadInput as bad:
        return bad.errors[0][1]
    return None


def ropes_out(ropes: object, *, lanes: int | None, errors: Errors) -> list[int]:
    """The ropes that come out, in order. Rope n lies between lanes n and n + 1.

    >>> ropes_out([2, 1], lanes=6, errors=[])
    [1, 2]
    """
    if not isinstance(ropes, list | tuple) or not all(_is_whole(one) for one in ropes):
        errors.append(("ropes_out", _("Give the numbers of the ropes, as 1, 2.")))
        return []
    last = (lanes or MOST_LANES) - 1
    strange = [rope for rope in ropes if not 1 <= rope <= last]
    for rope in strange:
        told = {"rope": rope, "last": last}
        sentence = _("There is no rope %(rope)s: the last is %(last)s.", **told)
        errors.append(("ropes_out", sentence))
    return sorted(set(_whole(ropes)) - set(strange))


def _is_whole(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def _whole(values: Iterable[object]) -> Sequence[int]:
    return [value for value in values if isinstance(value, int)]
