"""Drawings as geometry: which points a kind has, its angle, its lines in pixels of a picture.

Points are fractions of the picture's width and height, (0, 0) its top left, y down. Lengths and
angles are taken in pixels of a picture of the true proportions, never in fractions. The page
draws the same lines by `static/feedback/room/drawing/geometry.js`; a test compares the two.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from enum import StrEnum
from itertools import pairwise

from feedback.compute.pen import (
    CASING,
    COLOURS,
    PEN_PX,
    Ellipse,
    Outline,
    Point,
    Polyline,
    Shape,
    Text,
    inked,
)

__all__ = ["CASING", "COLOURS", "Ellipse", "Polyline", "Shape", "Text"]

COUNTS = {
    "pointer": (2, 2),  # its tail, its tip
    "ring": (2, 2),  # two opposite corners of its box
    "trace": (2, 500),
    "joint": (3, 3),  # a limb's end, the joint, the other limb's end
    "level": (1, 1),
    "plumb-line": (1, 1),
}
CORNERS = 40  # of a trace of straight lines
SHORTEST = 0.01  # of the picture's height: what is smaller than that was a slip of the hand


class Fault(StrEnum):
    KIND = "kind"
    COUNT = "count"
    NUMBER = "number"
    OUTSIDE = "outside"
    TINY = "tiny"


class PointsWrong(ValueError):
    """These points are no such drawing; `fault` says why."""

    def __init__(self, fault: Fault, words: str) -> None:
        super().__init__(words)
        self.fault = fault


def clean_points(
    kind: str, points: object, straight: bool, width_px: int, height_px: int
) -> list[Point]:
    """The points as pairs of numbers. Raises PointsWrong."""
    if kind not in COUNTS:
        raise PointsWrong(Fault.KIND, f"nothing is called {kind!r}")
    least, most = COUNTS[kind]
    most = CORNERS if straight and kind == "trace" else most
    if not isinstance(points, list | tuple) or not least <= len(points) <= most:
        raise PointsWrong(Fault.COUNT, f"a {kind} has {least} to {most} points")
    cleaned = [_point(point) for point in points]
    if not all(0 <= fraction <= 1 for point in cleaned for fraction in point):
        raise PointsWrong(Fault.OUTSIDE, "points are fractions of the picture, 0 to 1")
    if _is_tiny(kind, in_pixels(cleaned, width_px, height_px), height_px * SHORTEST):
        raise PointsWrong(Fault.TINY, f"this {kind} is too small to be seen")
    return cleaned


def _point(given: object) -> Point:
    if not isinstance(given, list | tuple) or len(given) != 2:
        raise PointsWrong(Fault.NUMBER, "a point is two numbers")
    if not all(isinstance(n, int | float) and not isinstance(n, bool) for n in given):
        raise PointsWrong(Fault.NUMBER, "a point is two numbers")
    if any(abs(n) > 1e9 for n in given) or not all(math.isfinite(n) for n in given):
        raise PointsWrong(Fault.OUTSIDE, "points are fractions of the picture, 0 to 1")
    return float(given[0]), float(given[1])


def _is_tiny(kind: str, places: list[Point], shortest_px: float) -> bool:
    if kind == "ring":
        (x0, y0), (x1, y1) = places
        return min(abs(x1 - x0), abs(y1 - y0)) < shortest_px
    if kind == "trace":
        return sum(math.dist(a, b) for a, b in pairwise(places)) < shortest_px
    return any(math.dist(a, b) < shortest_px for a, b in pairwise(places))


def in_pixels(points: Sequence[Sequence[float]], width_px: int, height_px: int) -> list[Point]:
    return [(x * width_px, y * height_px) for x, y in points]


def angle_deg(points: Sequence[Sequence[float]], width_px: int, height_px: int) -> float:
    """The angle at the middle one of three points, 0 to 180 degrees, as seen in the picture.

    By arctangent of cross and dot product: as exact for a nearly straight limb as for a bent
    one. A camera that does not stand square to the limb sees another angle than the limb has.

    >>> round(angle_deg([(0.2, 0.4), (0.4, 0.4), (0.4, 0.1)], 1280, 720), 6)
    90.0
    """
    (ax, ay), (vx, vy), (bx, by) = in_pixels(points, width_px, height_px)
    across = (ax - vx) * (by - vy) - (ay - vy) * (bx - vx)
    along = (ax - vx) * (bx - vx) + (ay - vy) * (by - vy)
    return math.degrees(math.atan2(abs(across), along))


def label_of(kind: str, points: Sequence[Sequence[float]], width_px: int, height_px: int) -> str:
    """What stands beside a joint: "130°". Nothing beside the others."""
    if kind != "joint":
        return ""
    return f"{math.floor(angle_deg(points, width_px, height_px) + 0.5)}°"


def outlines_of(
    kind: str, points: Sequence[Sequence[float]], straight: bool, width_px: int, height_px: int
) -> list[Outline]:
    """The lines of a drawing, smooth curves as many short ones."""
    places = in_pixels(points, width_px, height_px)
    if kind == "pointer":
        return _pointer(places[0], places[1], height_px)
    if kind == "ring":
        return [_ring(places[0], places[1])]
    if kind == "joint":
        return [Outline(tuple(places)), _arc(places, height_px)]
    if kind == "trace":
        return [Outline(tuple(places if straight else _smooth(places)))]
    (x, y), tick = places[0], height_px * 0.015
    if kind == "level":
        return [Outline(((0.0, y), (width_px, y))), Outline(((x, y - tick), (x, y + tick)), False)]
    return [Outline(((x, 0.0), (x, height_px))), Outline(((x - tick, y), (x + tick, y)), False)]


def _pointer(tail: Point, tip: Point, height_px: int) -> list[Outline]:
    """The head opens 25° to each side of the shaft."""
    back = math.atan2(tail[1] - tip[1], tail[0] - tip[0])
    size = min(height_px * 0.05, math.dist(tail, tip) * 0.5)
    left, right = (_at(tip, back + side * math.radians(25), size) for side in (-1, 1))
    return [Outline((tail, tip)), Outline((left, tip, right), False)]


def _ring(one: Point, other: Point) -> Outline:
    """The ellipse in the box between two corners; an even number of short lines, closed."""
    cx, cy = (one[0] + other[0]) / 2, (one[1] + other[1]) / 2
    rx, ry = abs(other[0] - one[0]) / 2, abs(other[1] - one[1]) / 2
    turns = [2 * math.pi * n / 96 for n in range(97)]
    places = tuple((cx + rx * math.cos(turn), cy + ry * math.sin(turn)) for turn in turns)
    return Outline(places, ellipse=(cx, cy, rx, ry))


def _arc(places: Sequence[Point], height_px: int) -> Outline:
    """Across the smaller side of a joint."""
    begin, sweep, reach = _opening(places, height_px)
    turns = [begin + sweep * n / 24 for n in range(25)]
    return Outline(tuple(_at(places[1], turn, reach) for turn in turns), False)


def _opening(places: Sequence[Point], height_px: int) -> tuple[float, float, float]:
    """Direction of the first limb, the signed turn to the second in radians, the arc's radius."""
    one, joint, other = places
    begin = math.atan2(one[1] - joint[1], one[0] - joint[0])
    end = math.atan2(other[1] - joint[1], other[0] - joint[0])
    sweep = end - begin
    if not -math.pi < sweep <= math.pi:
        sweep -= math.copysign(2 * math.pi, sweep)
    limb = min(math.dist(joint, one), math.dist(joint, other))
    return begin, sweep, min(height_px * 0.06, limb * 0.5)


def label_place(
    points: Sequence[Sequence[float]], width_px: int, height_px: int, away_px: float
) -> Point:
    """The middle of a joint's label: beyond its arc, half-way between the limbs."""
    places = in_pixels(points, width_px, height_px)
    begin, sweep, reach = _opening(places, height_px)
    x, y = _at(places[1], begin + sweep / 2, reach + away_px)
    return min(max(x, away_px), width_px - away_px), min(max(y, away_px), height_px - away_px)


def _at(origin: Point, turn: float, reach: float) -> Point:
    return origin[0] + reach * math.cos(turn), origin[1] + reach * math.sin(turn)


def _smooth(places: list[Point]) -> list[Point]:
    """Through the middles between the points, each point pulling the curve towards itself
    (quadratic Bézier curves of six short lines)."""
    if len(places) < 3:
        return places
    curve = [places[0]]
    for before, here, after in zip(places, places[1:], places[2:], strict=False):
        start, end = _between(before, here), _between(here, after)
        for n in range(7):
            curve.append(_bezier(start, here, end, n / 6))
    return [*curve, places[-1]]


def _between(a: Point, b: Point) -> Point:
    return (a[0] + b[0]) / 2, (a[1] + b[1]) / 2


def _bezier(a: Point, pull: Point, b: Point, t: float) -> Point:
    weights = ((1 - t) ** 2, 2 * t * (1 - t), t**2)
    x = sum(w * place[0] for w, place in zip(weights, (a, pull, b), strict=True))
    return x, sum(w * place[1] for w, place in zip(weights, (a, pull, b), strict=True))


def path_of(outline: Outline) -> str:
    """SVG path data in pixels of the picture, to hundredths."""
    return "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in outline.places)


def shapes_of(
    kind: str,
    points: Sequence[Sequence[float]],
    straight: bool,
    width_px: int,
    height_px: int,
    colour: str,
) -> list[Shape]:
    """What to paint on a still of this size, in order, dark casings first. Every shape is solid:
    a colour's pattern is already cut into pieces."""
    pen_px = max(2.0, height_px * PEN_PX)
    shapes = [
        shape
        for cased in (True, False)
        for outline in outlines_of(kind, points, straight, width_px, height_px)
        for shape in inked(outline, colour, pen_px, cased)
    ]
    if kind == "joint":
        size_px = max(12.0, height_px * 0.05)
        x, y = label_place(points, width_px, height_px, size_px)
        text = label_of(kind, points, width_px, height_px)
        shapes.append(Text(x, y, text, size_px, COLOURS[colour], CASING))
    return shapes
