"""Where the swimmer is in each picture: the way that moves most, without leaps.

Of all ways through the pictures the best is found as a whole (Viterbi), so that a splash beside
it, or a swimmer who goes by, does not lead it away. A box set by hand is a place that it goes
through.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from feedback.compute.rate_read.camera import halved, turned
from feedback.compute.rate_read.film import Box, Film, Float32, Float64

STEP_S = 0.2
CELL_PX = 4
FARTHEST_CELLS = 3  # a step: half the picture's width in a second
LEAP_COSTS = 0.012  # of the liveliest place, by squared cells of a step
USUAL_BOX = (0.42, 0.42)
EVEN_S = 0.6
NOISE_TIMES = 2.5
EDGE = 0.06  # of the height, above and below: where cameras write their clocks
HELD = 10.0  # what the place set by hand counts: more than any way can gain


@dataclass(frozen=True, eq=False)
class Way:
    """``centre_px``: float64 [n, 2], right and down; ``box_px``: width and height.

    ``lively``: how much moves on the way against the middle place of the picture, 1 and more;
    ``rival``: the most that moves outside the box, against what moves in it, 0 and more;
    ``camera_px``: see camera.turned.
    """

    centre_px: Float64
    box_px: tuple[float, float]
    lively: float
    rival: float
    camera_px: Float64


def follow(film: Film, box: Box | None, box_index: int = 0) -> Way:
    """`box_index`: the picture on which `box` was set."""
    camera_px = turned(film)
    height, width = film.size
    size = (box.width, box.height) if box else USUAL_BOX
    box_px = (size[0] * width, size[1] * height)
    step_of = _steps(film.times_s)
    maps = _liveliness(film, camera_px, step_of, box_px)
    held = None
    if box is not None:
        middle = ((box.x + box.width / 2) * width, (box.y + box.height / 2) * height)
        held = (int(step_of[box_index]), _cell(middle, maps.shape[1:]))
    cells = _best_way(maps, held)
    centre = _smooth(film, camera_px, step_of, cells)
    lively, rival = _standing_out(maps, cells, box_px)
    return Way(centre, box_px, lively, rival, camera_px)


def _steps(times_s: Float64) -> np.ndarray:
    return ((times_s - times_s[0]) / STEP_S).astype(int)


def _cell(place_px: tuple[float, float], shape: tuple[int, ...]) -> tuple[int, int]:
    row, column = (int(px / 2 / CELL_PX) for px in (place_px[1], place_px[0]))
    return min(max(row, 0), shape[0] - 1), min(max(column, 0), shape[1] - 1)


def _liveliness(
    film: Film, camera_px: Float64, step_of: np.ndarray, box_px: tuple[float, float]
) -> Float32:
    """[steps, rows, columns]: what moves within a box around each cell, camera taken out; the
    liveliest place of all is about 1."""
    shape = tuple(side // 2 for side in film.size)
    moved = np.zeros((int(step_of[-1]) + 1, *shape), dtype=np.float32)
    before = halved(film.grey[0])
    for n in range(1, len(film.grey)):
        now = halved(film.grey[n])
        right, down = (camera_px[n] - camera_px[n - 1]) / 2
        there = scipy.ndimage.shift(before, (down, right), order=1, mode="nearest")
        change = np.abs(now - there)
        noise = float(np.median(change))
        moved[step_of[n]] += np.maximum(change - NOISE_TIMES * noise - 1.0, 0)
        before = now
    edge = int(np.ceil(EDGE * shape[0]))
    moved[:, :edge] = moved[:, -edge:] = 0
    size = (0.0, box_px[1] / 2, box_px[0] / 2)
    boxed = scipy.ndimage.gaussian_filter(np.sqrt(moved), [side / 4 for side in size])
    cells = boxed[:, CELL_PX // 2 :: CELL_PX, CELL_PX // 2 :: CELL_PX]
    usual = float(np.median(cells.max(axis=(1, 2))))
    return np.asarray(cells / max(usual, 1e-6), dtype=np.float32)


def _best_way(maps: Float32, held: tuple[int, tuple[int, int]] | None) -> np.ndarray:
    """Row and column of each step: int [steps, 2]."""
    reach = range(-FARTHEST_CELLS, FARTHEST_CELLS + 1)
    moves = [(down, right) for down in reach for right in reach]
    costs = np.array([LEAP_COSTS * (down**2 + right**2) for down, right in moves])
    count, rows, columns = maps.shape
    score = np.minimum(maps, 1.5).astype(np.float64)
    if held is not None:
        score[held[0], held[1][0], held[1][1]] += HELD * count
    came = np.zeros((count, rows, columns), dtype=np.uint8)
    total = score[0]
    for n in range(1, count):
        padded = np.pad(total, FARTHEST_CELLS, constant_values=-np.inf)
        options = np.stack(
            [
                padded[
                    FARTHEST_CELLS - down : FARTHEST_CELLS - down + rows,
                    FARTHEST_CELLS - right : FARTHEST_CELLS - right + columns,
                ]
                - cost
                for (down, right), cost in zip(moves, costs, strict=True)
            ]
        )
        came[n] = options.argmax(axis=0)
        total = options.max(axis=0) + score[n]
    at = np.unravel_index(int(total.argmax()), total.shape)
    cells = np.zeros((count, 2), dtype=int)
    for n in range(count - 1, -1, -1):
        cells[n] = at
        down, right = moves[came[n][at]]
        at = (at[0] - down, at[1] - right) if n else at
    return cells


def _smooth(film: Film, camera_px: Float64, step_of: np.ndarray, cells: np.ndarray) -> Float64:
    """The way in pixels for every picture: even as seen beside the pool, then shaken with the
    camera."""
    times_s = film.times_s - film.times_s[0]
    steps_s = (np.arange(len(cells)) + 0.5) * STEP_S
    even_s = np.arange(0.0, times_s[-1] + STEP_S / 4, STEP_S / 4)
    way = np.empty((len(times_s), 2))
    for axis, which in ((0, 1), (1, 0)):
        px = (cells[:, which] + 0.5) * CELL_PX * 2
        beside = np.interp(even_s, steps_s, px) - np.interp(even_s, times_s, camera_px[:, axis])
        calm = _calm(beside, EVEN_S / (STEP_S / 4))
        way[:, axis] = np.interp(times_s, even_s, calm) + camera_px[:, axis]
    return way


def _calm(values: Float64, sigma: float) -> Float64:
    """Smoothed; at the ends it goes on as it came, so that a box does not lag there."""
    more = min(len(values) - 1, int(3 * sigma))
    longer = np.pad(values, more, mode="reflect", reflect_type="odd")
    calm = scipy.ndimage.gaussian_filter1d(longer, sigma, mode="nearest")
    return np.asarray(calm[more : more + len(values)])


def _standing_out(
    maps: Float32, cells: np.ndarray, box_px: tuple[float, float]
) -> tuple[float, float]:
    on_way = np.array([one[tuple(at)] for one, at in zip(maps, cells, strict=True)])
    middle = np.median(maps, axis=(1, 2))
    lively = float(np.median(on_way) / max(float(np.median(middle)), 0.02))
    half = (box_px[1] / 2 / CELL_PX * 0.9, box_px[0] / 2 / CELL_PX * 0.9)
    rows, columns = (np.asarray(one) for one in np.indices(maps.shape[1:]))
    outside = [
        float(np.where(_beyond(rows, columns, at, half), one, 0).max())
        for one, at in zip(maps, cells, strict=True)
    ]
    return lively, float(np.median(outside) / max(float(np.median(on_way)), 1e-3))


def _beyond(
    rows: NDArray[np.int64], columns: NDArray[np.int64], at: np.ndarray, half: tuple[float, float]
) -> np.ndarray:
    return (np.abs(rows - at[0]) > half[0]) | (np.abs(columns - at[1]) > half[1])
