"""Marks of known place as a person sets them: what they may be, and what is wrong with some, named
by their numbers from 1 on.

How well each kind is known is our judgement, no source. Where the rules put things: 5 m flags, red
floats over the last 5 m, walls (FINA FR 3, DSV 132); ropes of a club often do not follow them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import combinations
from typing import Any

from clinics.compute.errors import BadInput
from clinics.compute.errors import say as _
from feedback.compute.measuring.plane import LEAST_MARKS, MOST_MARKS, Known, Plane, fit_plane

BEYOND_WALLS_M = 10.0  # of the deck behind a wall
ACROSS_M = (-30.0, 60.0)  # no pool is wider
UPRIGHT_M = (-6.0, 6.0)
PLUS_MINUS_CM = (0.1, 200.0)
COVERAGE = 2.0  # a ± that holds 19 times of 20, over the standard uncertainty
MOST_TO_TRY = 10  # marks of which each pair is changed over, to find those mixed up


class What(StrEnum):
    """What a mark of known place is."""

    MARKER = "marker"
    WALL = "wall"
    FLAGS = "flags"
    TILE = "tile"
    FLOAT = "float"
    OTHER = "other"


# how well each is known, ± cm
USUAL_CM = {
    What.MARKER: 4.0,
    What.WALL: 2.0,
    What.FLAGS: 10.0,
    What.TILE: 4.0,
    What.FLOAT: 20.0,
    What.OTHER: 10.0,
}


@dataclass(frozen=True)
class SetMark:
    """`x`, `y`: parts of the picture's width and height; `across_m`: across the lane, or in an
    upright plane up from the water's surface (below it: negative)."""

    x: float
    y: float
    along_m: float
    across_m: float
    u_m: float
    what: What

    def kept(self) -> dict[str, Any]:
        return {
            "x": self.x,
            "y": self.y,
            "along_m": self.along_m,
            "across_m": self.across_m,
            "u_m": self.u_m,
            "what": self.what.value,
        }


def read_marks(told: object, *, course_m: float, upright: bool) -> list[SetMark]:
    """Of a list of {"x", "y", "along_m", "across_m", "plus_minus_cm", "what"}; BadInput says all
    that is wrong at once."""
    if not isinstance(told, list) or not all(isinstance(one, dict) for one in told):
        raise BadInput([("", _("The marks could not be read. Set them again."))])
    if len(told) < LEAST_MARKS:
        sentence = _(
            "Four marks of known place make a plane; there are %(count)s. Set %(more)s more, two "
            "on each side of what you measure.",
            count=len(told),
            more=LEAST_MARKS - len(told),
        )
        raise BadInput([("", sentence)])
    if len(told) > MOST_MARKS:
        sentence = _(
            "At most %(most)s marks are taken; there are %(count)s. Remove some.",
            most=MOST_MARKS,
            count=len(told),
        )
        raise BadInput([("", sentence)])
    errors: list[tuple[str, str]] = []
    marks = []
    for n, one in enumerate(told, start=1):
        wrong = list(_wrong(one, course_m, upright))
        errors += [(_("Mark %(n)s", n=n), sentence) for sentence in wrong]
        if not wrong:
            marks.append(_mark(one))
    if not errors:
        errors = list(_twice(marks))
    if errors:
        raise BadInput(errors)
    return marks


def _mark(one: dict[str, Any]) -> SetMark:
    numbers = {name: float(one[name]) for name in ("x", "y", "along_m", "across_m")}
    return SetMark(
        **numbers, u_m=float(one["plus_minus_cm"]) / 100 / COVERAGE, what=What(one["what"])
    )


def _wrong(one: dict[str, Any], course_m: float, upright: bool) -> Iterable[str]:
    if not (_within(one.get("x"), 0, 1) and _within(one.get("y"), 0, 1)):
        yield _("it lies beyond the picture. Set it again, within it.")
    if not _number(one.get("along_m")):
        yield _("say how many metres it is from the start wall, along the course.")
    elif not _within(one["along_m"], -BEYOND_WALLS_M, course_m + BEYOND_WALLS_M):
        yield _(
            "%(along)s m along is far from this course, whose walls are at 0 m and %(course)s m.",
            along=_short(one["along_m"]),
            course=_short(course_m),
        )
    if not _number(one.get("across_m")):
        if upright:
            yield _("say how many metres it is above the water's surface; below it with a minus.")
        else:
            yield _("say how many metres it is across, from the side of the swum lane.")
    elif upright and not _within(one["across_m"], *UPRIGHT_M):
        yield _(
            "%(up)s m up from the surface is no place in an upright plane: from %(least)s m to "
            "%(most)s m is.",
            up=_short(one["across_m"]),
            least=_short(UPRIGHT_M[0]),
            most=_short(UPRIGHT_M[1]),
        )
    elif not _within(one["across_m"], *ACROSS_M):
        yield _(
            "%(across)s m across is no place in a pool: from %(least)s m to %(most)s m is.",
            across=_short(one["across_m"]),
            least=_short(ACROSS_M[0]),
            most=_short(ACROSS_M[1]),
        )
    if not _within(one.get("plus_minus_cm"), *PLUS_MINUS_CM):
        yield _(
            "say how well its place is known, from ± %(least)s cm to ± %(most)s cm.",
            least=_short(PLUS_MINUS_CM[0]),
            most=_short(PLUS_MINUS_CM[1]),
        )
    if one.get("what") not in list(What):
        yield _("say what it is.")


def _number(value: object) -> bool:
    if not isinstance(value, int | float) or isinstance(value, bool):
        return False
    try:
        return math.isfinite(value)
    except OverflowError:  # a whole number of hundreds of digits
        return False


def _within(value: object, least: float, most: float) -> bool:
    return _number(value) and least <= value <= most  # type: ignore[operator]


def _short(value: float) -> str:
    return f"{value:.6g}"


def _twice(marks: Sequence[SetMark]) -> Iterable[tuple[str, str]]:
    for (n, one), (m, other) in combinations(enumerate(marks, start=1), 2):
        if math.dist((one.x, one.y), (other.x, other.y)) < 1e-3:
            told = _("they stand at the same point of the picture. Remove one of them.")
            yield _("Marks %(one)s and %(other)s", one=n, other=m), told
        elif (one.along_m, one.across_m) == (other.along_m, other.across_m):
            told = _(
                "both are said to be at %(along)s m along and %(across)s m the other way. Correct "
                "one of them.",
                along=_short(one.along_m),
                across=_short(one.across_m),
            )
            yield _("Marks %(one)s and %(other)s", one=n, other=m), told


def plane_of(marks: Sequence[Known], *, key: str) -> Plane:
    """As `fit_plane`; where places were mixed up, it says which marks would go together changed
    over."""
    try:
        return fit_plane(marks, key=key)
    except BadInput as bad:
        pairs = mixed_up(marks, bad)
        if pairs:
            raise BadInput([("", _pairs_told(pairs))]) from None
        raise BadInput((_("Marks"), sentence) for _name, sentence in bad.errors) from None


def mixed_up(marks: Sequence[Known], bad: BadInput) -> list[tuple[int, int]]:
    """Pairs of marks, by their numbers, that make a plane with their places changed over, best
    first; none if that was not what was wrong."""
    if "mixed up" not in str(bad) or len(marks) > MOST_TO_TRY:
        return []
    found: list[tuple[float, int, int]] = []
    for i, j in combinations(range(len(marks)), 2):
        tried = list(marks)
        tried[i] = replace(marks[i], x_m=marks[j].x_m, y_m=marks[j].y_m)
        tried[j] = replace(marks[j], x_m=marks[i].x_m, y_m=marks[i].y_m)
        try:
            plane = fit_plane(tried, key="tried")
        except BadInput:
            continue
        found.append((round(plane.residual_px or 0.0, 6), i + 1, j + 1))
    found.sort()
    best = [(i, j) for off, i, j in found if off <= 2 * found[0][0] + 1e-6]
    return best[:2]


def _pairs_told(pairs: Sequence[tuple[int, int]]) -> str:
    values = {"a": pairs[0][0], "b": pairs[0][1]}
    if len(pairs) == 1:
        return _(
            "These places cannot be seen so from one side. Marks %(a)s and %(b)s look mixed up: "
            "change their places over.",
            **values,
        )
    return _(
        "These places cannot be seen so from one side. Marks %(a)s and %(b)s look mixed up, or "
        "marks %(c)s and %(d)s: change their places over.",
        **values,
        c=pairs[1][0],
        d=pairs[1][1],
    )
