"""How large a drawing must be, and its two-way scale.

A unit is a metre, so one scale holds along and across by itself. What must not shrink with the
pool (marks, type, the margin that holds them) is given in px and turned into metres: u metres a
px, where the deck's length over (shown width - both margins) is u.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from clinics.compute.plan_drawing.types import PlanDrawing, Sizes
from clinics.compute.sight import Pool

LEAST_WIDTH_PX = 240.0
LEAST_COURSE_M, MOST_COURSE_M, MOST_LANES = 5.0, 200.0, 20
THIN_PX, THICK_PX = 1.0, 2.5
MARK_R_PX, TOUCH_R_PX = 11.0, 24.0
FONT_PX, SMALL_FONT_PX = 14.0, 12.0
MARGIN_PX = TOUCH_R_PX + 1.0  # a mark at the deck's edge still takes a finger within the drawing
SCALE_PX = 18.0  # below the deck, for the scale


def rounded(value: float) -> float:
    """To a centimetre, and never minus zero."""
    return round(value, 2) + 0.0


@dataclass(frozen=True)
class Frame:
    """`left` is the room around the water at its left, right and top alike, `deck_m` how much of
    it is deck; `m_per_px` how long a px of the shown drawing is."""

    pool: Pool
    left: float
    deck_m: float
    m_per_px: float
    sizes: Sizes

    @property
    def width(self) -> float:
        return rounded(2 * self.left + self.pool.course_m)

    @property
    def height(self) -> float:
        return rounded(2 * self.left + self.pool.width_m + SCALE_PX * self.m_per_px)

    def at(self, x_m: float, y_m: float) -> tuple[float, float]:
        return rounded(x_m + self.left), rounded(y_m + self.left)

    def px(self, length_px: float) -> float:
        return rounded(length_px * self.m_per_px)


def frame(pool: Pool, places_m: Iterable[tuple[float, float]], width_px: float) -> Frame:
    """Room for pool and deck, and evenly around for whoever stands farther out than that.

    ValueError outside 5 to 200 m, 1 to 20 lanes, or below 240 px.
    """
    if not LEAST_COURSE_M <= pool.course_m <= MOST_COURSE_M or not 1 <= pool.lanes <= MOST_LANES:
        raise ValueError("a pool of 5 to 200 m and 1 to 20 lanes can be drawn")
    if not width_px >= LEAST_WIDTH_PX:
        raise ValueError(f"a plan is drawn at least {LEAST_WIDTH_PX:g} px wide")
    deck_m = max([pool.deck_m, *(_out_m(pool, x_m, y_m) for x_m, y_m in places_m)])
    m_per_px = (pool.course_m + 2 * deck_m) / (width_px - 2 * MARGIN_PX)
    left = math.ceil(100 * (deck_m + MARGIN_PX * m_per_px)) / 100
    return Frame(pool, left, deck_m, m_per_px, _sizes(width_px, m_per_px))


def _out_m(pool: Pool, x_m: float, y_m: float) -> float:
    return max(-x_m, x_m - pool.course_m, -y_m, y_m - pool.width_m)


def _sizes(width_px: float, m_per_px: float) -> Sizes:
    lengths_px = (THIN_PX, THICK_PX, MARK_R_PX, TOUCH_R_PX, FONT_PX, SMALL_FONT_PX)
    return Sizes(width_px, *(rounded(length * m_per_px) for length in lengths_px))


def to_drawing(drawing: PlanDrawing, x_m: float, y_m: float) -> tuple[float, float]:
    """From metres on the plan to the drawing; to 0.01."""
    return rounded(x_m + drawing.left), rounded(y_m + drawing.top)


def to_metres(drawing: PlanDrawing, x: float, y: float) -> tuple[float, float]:
    """The reverse, also for places beside the drawing: of whole centimetres, each gives back
    exactly what the other was given."""
    return rounded(x - drawing.left), rounded(y - drawing.top)
