"""The pool plan to scale, as places in an SVG that is as wide as a page makes it.

    draw_plan(pool, stands, …)  ->  PlanDrawing        to_drawing, to_metres: its two-way scale
    moved(stand, dx_m, dy_m, pool), snapped(stand, pool)  ->  Stand

One unit of the drawing is one metre, along and across, and its view box begins at 0 0; the pool
lies in it with the start wall at the left and the swum lane, where swimmers climb out, at the
top. Colours and words are the page's.
"""

from __future__ import annotations

from clinics.compute.plan_drawing.draw import draw_plan
from clinics.compute.plan_drawing.moves import BIG_STEP_M, SNAP_M, STEP_M, moved, snapped
from clinics.compute.plan_drawing.pool import FIFTEEN_M, FLAGS_M
from clinics.compute.plan_drawing.reach import reach_m
from clinics.compute.plan_drawing.scale import LEAST_WIDTH_PX, to_drawing, to_metres
from clinics.compute.plan_drawing.types import (
    Across,
    AcrossKind,
    Arrow,
    ClimbOut,
    Label,
    Lane,
    Line,
    Mark,
    PlanDrawing,
    Rect,
    Rope,
    Sizes,
    Tick,
)

__all__ = [
    "BIG_STEP_M",
    "FIFTEEN_M",
    "FLAGS_M",
    "LEAST_WIDTH_PX",
    "SNAP_M",
    "STEP_M",
    "Across",
    "AcrossKind",
    "Arrow",
    "ClimbOut",
    "Label",
    "Lane",
    "Line",
    "Mark",
    "PlanDrawing",
    "Rect",
    "Rope",
    "Sizes",
    "Tick",
    "draw_plan",
    "moved",
    "reach_m",
    "snapped",
    "to_drawing",
    "to_metres",
]
