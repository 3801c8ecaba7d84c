"""The pool drawn to scale: where everything stands in an SVG of a given width."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from clinics.compute.sight import LANE_M

WIDTH = 420.0
MARGIN = 26.0
LEAST_LANES = 3


@dataclass(frozen=True)
class Place:
    """A station's mark; `x`, `y` in the drawing, `sight` a triangle towards the water."""

    number: int
    x: float
    y: float
    sight: str

    @property
    def label_y(self) -> float:
        """Baseline of the number within the mark."""
        return self.y + 4.5


@dataclass(frozen=True)
class PoolPlan:
    width: float
    height: float
    pool_x: float
    pool_y: float
    pool_width: float
    pool_height: float
    lane_height: float
    ropes: list[float]
    ticks: list[tuple[float, str]]
    places: list[Place]
    starter_x: float
    starter_y: float
    scale_y: float

    @property
    def right(self) -> float:
        return self.pool_x + self.pool_width

    @property
    def starter_left(self) -> float:
        return self.starter_x - 4.5

    @property
    def starter_top(self) -> float:
        return self.starter_y - 4.5


def pool_plan(
    *,
    course_m: float,
    stations: Sequence[tuple[float, float]],
    starter: tuple[float, float],
) -> PoolPlan:
    """Lay out a pool of `course_m` with stations at (x along, y across), in metres.

    y = 0 is the pool's edge at the side of the swum lane; both axes have the same scale.
    """
    scale = (WIDTH - 2 * MARGIN) / course_m
    ys = [y for _, y in [*stations, starter]]
    above_m = max(2.0, *(-y for y in ys)) + 12.0 / scale
    lanes = max(LEAST_LANES, *(int(y / LANE_M) + 1 for y in ys))
    pool_y = above_m * scale
    pool_height = lanes * LANE_M * scale
    places = []
    for number, (x_m, y_m) in enumerate(stations, start=1):
        x = min(max(MARGIN + x_m * scale, 12.0), WIDTH - 12.0)
        y = pool_y + y_m * scale
        places.append(Place(number, round(x, 1), round(y, 1), _sight(x, y, pool_y, scale)))
    return PoolPlan(
        width=WIDTH,
        height=round(pool_y + pool_height + 30, 1),
        pool_x=MARGIN,
        pool_y=round(pool_y, 1),
        pool_width=round(WIDTH - 2 * MARGIN, 1),
        pool_height=round(pool_height, 1),
        lane_height=round(LANE_M * scale, 1),
        ropes=[round(pool_y + n * LANE_M * scale, 1) for n in range(1, lanes)],
        ticks=_ticks(course_m, scale),
        places=places,
        starter_x=round(MARGIN + starter[0] * scale, 1),
        starter_y=round(pool_y + starter[1] * scale, 1),
        scale_y=round(pool_y + pool_height + 18, 1),
    )


def _sight(x: float, y: float, pool_y: float, scale: float) -> str:
    """Towards the middle of the swum lane."""
    aim_y = pool_y + LANE_M / 2 * scale
    reach, half = 26.0, 13.0
    if (x >= WIDTH - MARGIN - 4 or x <= MARGIN + 4) and abs(aim_y - y) < reach:
        side = -1 if x > WIDTH / 2 else 1
        far = x + side * reach
        return f"{x:.1f},{y:.1f} {far:.1f},{y - half:.1f} {far:.1f},{y + half:.1f}"
    down = 1 if aim_y >= y else -1
    far = y + down * reach
    return f"{x:.1f},{y:.1f} {x - half:.1f},{far:.1f} {x + half:.1f},{far:.1f}"


def _ticks(course_m: float, scale: float) -> list[tuple[float, str]]:
    """Both walls, and each 5 or 10 m that is not too near to the far wall."""
    step = 5 if course_m <= 30 else 10
    marks = [n * step for n in range(int(course_m / step) + 1)]
    marks = [m for m in marks if (course_m - m) * scale > 34]
    return [
        *((round(MARGIN + m * scale, 1), f"{m}") for m in marks),
        (round(MARGIN + course_m * scale, 1), f"{course_m:g} m"),
    ]
