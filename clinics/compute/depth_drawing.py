"""A depth profile as a drawing from the side: start wall at the left, the bottom as measured."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from clinics.compute.start_depth import ZONE_FROM_M, ZONE_TO_M

WIDTH, LEFT, RIGHT = 420.0, 14.0, 20.0
TOP, DEEP, BELOW = 22.0, 96.0, 26.0  # the water's top, how tall it is, room for the scale
LEAST_LONG_M = 8.0
APART = 34.0  # between two figures, so that none stands on another


@dataclass(frozen=True)
class Place:
    """A place that was measured. `label`: whether there is room for its figures."""

    x_m: float
    depth_m: float
    x: float
    y: float
    label: bool

    @property
    def label_y(self) -> float:
        return self.y - 7


@dataclass(frozen=True)
class DepthDrawing:
    """`water`, `bottom`: polygon and line. Nothing is drawn beyond the outermost places."""

    width: float
    height: float
    top: float
    floor: float
    scale_y: float
    zone_x: float
    zone_width: float
    wall_x: float
    water: str
    bottom: str
    places: tuple[Place, ...]


def depth_drawing(profile: Iterable[tuple[float, float]]) -> DepthDrawing:
    """At least one place. Along and down have scales of their own: it is not true to scale.

    >>> drawing = depth_drawing([(0.0, 1.0), (10.0, 2.0)])
    >>> [(place.x, place.y) for place in drawing.places], drawing.zone_x
    ([(14.0, 70.0), (400.0, 118.0)], 52.6)
    """
    points = sorted(profile)
    long_m = max(points[-1][0], LEAST_LONG_M)
    along, down = (WIDTH - LEFT - RIGHT) / long_m, DEEP / max(depth for _x, depth in points)
    places: list[Place] = []
    for x_m, depth_m in points:
        x, y = round(LEFT + x_m * along, 1), round(TOP + depth_m * down, 1)
        labelled = [place.x for place in places if place.label]
        places.append(Place(x_m, depth_m, x, y, not labelled or x - labelled[-1] >= APART))
    line = " ".join(f"{place.x},{place.y}" for place in places)
    return DepthDrawing(
        width=WIDTH,
        height=TOP + DEEP + BELOW,
        top=TOP,
        floor=TOP + DEEP,
        scale_y=TOP + DEEP + 18,
        zone_x=round(LEFT + ZONE_FROM_M * along, 1),
        zone_width=round((ZONE_TO_M - ZONE_FROM_M) * along, 1),
        wall_x=LEFT,
        water=f"{places[0].x},{TOP} {line} {places[-1].x},{TOP}",
        bottom=line,
        places=tuple(places),
    )
