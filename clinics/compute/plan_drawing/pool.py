"""The pool of a drawn plan: water, lanes, ropes, walls, lines across, scale, climb-out place.

Where the lines across hang, from each end wall:
- backstroke flags 5.00 m (DSV rule 132(4), schwimmen-wssv.de/WB/Aktuell/WB-SW132.htm);
- 15 m marks on the ropes (FINA FR 3.8, value from memory); the false-start rope hangs at the one
  from the start wall (DSV 132(5), same page: 15.00 m from the start end). A head must have
  broken the surface there (SW 5.3), in courses of yards too.
A course too short for a line has none. Courses of 25 yards hang their flags at 15 feet, 4.57 m
(value from memory): pass `flags_m`.
"""

from __future__ import annotations

from collections.abc import Collection

from clinics.compute.plan_drawing.scale import Frame, rounded
from clinics.compute.plan_drawing.types import (
    Across,
    AcrossKind,
    Arrow,
    ClimbOut,
    Lane,
    Line,
    Rect,
    Rope,
    Tick,
)
from clinics.compute.sight_cones import CLIMB_ALONG_M, CLIMB_BACK_M, end_x_m

FLAGS_M, FIFTEEN_M = 5.0, 15.0
BLOCK_M = 0.5  # long (as sight.py has it) and wide (FINA FR 2.7, value from memory)
STEPS_M = (1, 2, 5, 10, 20, 25, 50, 100)
STEP_PX, LAST_STEP_PX = 34.0, 46.0  # between two ticks' middles, and before the far wall's
ARROW_PX, HEAD_PX = 44.0, 9.0
ARROW_SHARE = 0.375  # its middle, as a share of the course: clear of where stations usually look


def rect_of(frame: Frame, from_m: tuple[float, float], to_m: tuple[float, float]) -> Rect:
    (x, y), (right, bottom) = frame.at(*from_m), frame.at(*to_m)
    return Rect(x, y, rounded(right - x), rounded(bottom - y))


def line_of(frame: Frame, from_m: tuple[float, float], to_m: tuple[float, float]) -> Line:
    return Line(*frame.at(*from_m), *frame.at(*to_m))


def across_water(frame: Frame, x_m: float) -> Line:
    return line_of(frame, (x_m, 0.0), (x_m, frame.pool.width_m))


def deck_of(frame: Frame) -> Rect:
    pool, out_m = frame.pool, frame.deck_m
    return rect_of(frame, (-out_m, -out_m), (pool.course_m + out_m, pool.width_m + out_m))


def water_of(frame: Frame) -> Rect:
    return rect_of(frame, (0.0, 0.0), (frame.pool.course_m, frame.pool.width_m))


def lanes_of(frame: Frame, ropes_out: Collection[int]) -> tuple[Lane, ...]:
    return tuple(_lane(frame, n, ropes_out) for n in range(1, frame.pool.lanes + 1))


def _lane(frame: Frame, number: int, ropes_out: Collection[int]) -> Lane:
    pool, small = frame.pool, frame.sizes.small_font
    rect = rect_of(frame, (0.0, (number - 1) * pool.lane_m), (pool.course_m, number * pool.lane_m))
    clear = number > 1 and all(n in ropes_out for n in range(1, number))
    x, y = rounded(rect.x + small / 2), rounded(rect.y + rect.height / 2 + 0.35 * small)
    return Lane(number, rect, number == 1, clear, x, y, small <= rect.height)


def ropes_of(frame: Frame, ropes_out: Collection[int]) -> tuple[Rope, ...]:
    pool = frame.pool
    return tuple(
        Rope(n, line_of(frame, (0.0, n * pool.lane_m), (pool.course_m, n * pool.lane_m)), out)
        for n in range(1, pool.lanes)
        for out in [n in ropes_out]
    )


def blocks_of(frame: Frame) -> tuple[Rect, ...]:
    """One a lane, behind the start wall; a lane that is narrower than a block fills with it."""
    pool, half = frame.pool, min(BLOCK_M, frame.pool.lane_m) / 2
    middles = [(n + 0.5) * pool.lane_m for n in range(pool.lanes)]
    long_m = min(BLOCK_M, frame.deck_m)
    return tuple(rect_of(frame, (-long_m, y - half), (0.0, y + half)) for y in middles)


def lines_across(frame: Frame, flags_m: float) -> tuple[Across, ...]:
    """Those within the course; where both ends' lines fall together, one."""
    course_m = frame.pool.course_m
    found = []
    for kind, off_m in ((AcrossKind.FLAGS, flags_m), (AcrossKind.FIFTEEN, FIFTEEN_M)):
        if 0 < off_m < course_m:
            for at_m in sorted({rounded(off_m), rounded(course_m - off_m)}):
                found.append(Across(kind, at_m, across_water(frame, at_m)))
    return tuple(found)


def ticks_of(frame: Frame) -> tuple[Tick, ...]:
    """Even steps from the start wall whose figures do not meet, and the far wall."""
    course_m, px_m = frame.pool.course_m, frame.m_per_px
    step = next((s for s in STEPS_M if s >= STEP_PX * px_m), STEPS_M[-1])
    marks = [float(m) for m in range(0, int(course_m) + 1, step)]
    marks = [m for m in marks if course_m - m >= LAST_STEP_PX * px_m]
    deck_bottom = deck_of(frame).bottom
    y = rounded(deck_bottom + frame.px(16.0))
    at = [*((m, False) for m in marks), (course_m, True)]
    return tuple(Tick(rounded(m), frame.at(m, 0.0)[0], y, last) for m, last in at)


def climb_out_of(frame: Frame, distance_m: float) -> ClimbOut:
    """At the side where a go of `distance_m` ends; the room is what the checks ask for."""
    pool, out_m = frame.pool, end_x_m(frame.pool.course_m, distance_m)
    low_m = max(out_m - CLIMB_ALONG_M, -frame.deck_m)
    high_m = min(out_m + CLIMB_ALONG_M, pool.course_m + frame.deck_m)
    room = rect_of(frame, (low_m, -min(CLIMB_BACK_M, frame.deck_m)), (high_m, 0.0))
    return ClimbOut(*frame.at(out_m, 0.0), rounded(out_m), room)


def arrow_of(frame: Frame) -> Arrow:
    pool = frame.pool
    half = min(ARROW_PX * frame.m_per_px, pool.course_m / 4) / 2
    head = min(HEAD_PX * frame.m_per_px, half, pool.lane_m * 0.6)
    tip_m, y_m = ARROW_SHARE * pool.course_m + half, pool.swum_y_m
    shaft = line_of(frame, (tip_m - 2 * half, y_m), (tip_m - head, y_m))
    corners = [(tip_m, y_m), (tip_m - head, y_m - head / 2), (tip_m - head, y_m + head / 2)]
    return Arrow(shaft, points(frame, corners))


def points(frame: Frame, corners_m: Collection[tuple[float, float]]) -> str:
    """For a polygon's `points`."""
    at = (frame.at(x_m, y_m) for x_m, y_m in corners_m)
    return " ".join(f"{x:.2f},{y:.2f}" for x, y in at)
