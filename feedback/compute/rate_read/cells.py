"""Brightness over time in the cells of a box that goes with the swimmer, and around it.

What stands still beside the pool passes through the box: windows, floats of a rope and tiles come
at a rate of their own. So each cell is seen against what the same place of the pool shows a little
earlier and later, when the swimmer has gone on.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy

from feedback.compute.rate_read.film import Film, Float32, Float64
from feedback.compute.rate_read.follow import Way

ACROSS, DOWN = 16, 10
AROUND = 1.7
"""The surroundings reach so many times as far as the box."""
LEAST_CELL_PX = 2.0
IN_PICTURE = 0.9
BEFORE_AND_AFTER_S = (-2.3, -1.7, -1.1, -0.7, 0.7, 1.1, 1.7, 2.3)
"""Uneven, so that no stroke rate fits them all."""


@dataclass(frozen=True, eq=False)
class Cells:
    """``inside``: float32 [n, cells] in the swimmer's box; ``around``: [n, cells] beside it, of
    the same size, so that what waves and ropes do there can be told from the swimmer;
    ``row_inside``, ``row_around``: in which row of cells each one is."""

    inside: Float32
    around: Float32
    row_inside: np.ndarray
    row_around: np.ndarray


def cells_along(film: Film, way: Way) -> Cells:
    """Brightness of each cell in each picture against its place in the pool, in grey levels,
    without what all cells share."""
    across, down = (
        max(4, min(most, int(side / LEAST_CELL_PX)))
        for most, side in zip((ACROSS, DOWN), way.box_px, strict=True)
    )
    cell_px = (way.box_px[0] / across, way.box_px[1] / down)
    right, below, is_inside = _places(across, down)
    softened = _Softened(film, cell_px)
    height, width = film.size
    values = np.zeros((len(film.grey), len(right)), dtype=np.float32)
    in_picture = np.zeros(len(right))
    for n in range(len(film.grey)):
        x = way.centre_px[n, 0] + right * cell_px[0]
        y = way.centre_px[n, 1] + below * cell_px[1]
        is_seen = (x >= 0) & (x < width) & (y >= 0) & (y < height)
        in_picture += is_seen
        values[n] = softened.at(n, x, y) - _usual(softened, film, way, n, x, y)
    seen = in_picture >= IN_PICTURE * len(film.grey)
    values[~np.isfinite(values)] = 0.0
    light = np.median(values[:, seen], axis=1, keepdims=True) if seen.any() else 0.0
    values -= light
    row = np.round(below * 2).astype(int)
    inside, around = is_inside & seen, ~is_inside & seen
    return Cells(values[:, inside], values[:, around], row[inside], row[around])


class _Softened:
    """Means over a cell around each pixel; a few seconds of pictures are kept."""

    def __init__(self, film: Film, cell_px: tuple[float, float]) -> None:
        self.film = film
        self.cell_px = (max(1, round(cell_px[1])), max(1, round(cell_px[0])))
        self.kept: dict[int, Float32] = {}

    def at(self, n: int, x: Float64, y: Float64) -> Float32:
        if n not in self.kept:
            grey = self.film.grey[n].astype(np.float32)
            self.kept[n] = scipy.ndimage.uniform_filter(grey, self.cell_px)
        found = scipy.ndimage.map_coordinates(self.kept[n], [y, x], order=1, mode="nearest")
        return np.asarray(found, dtype=np.float32)

    def forget_before(self, n: int) -> None:
        for old in [one for one in self.kept if one < n]:
            del self.kept[old]


def _usual(softened: _Softened, film: Film, way: Way, n: int, x: Float64, y: Float64) -> Float32:
    """What these places of the pool show at other times: the middle of several. Not a number where
    the picture did not show them then."""
    height, width = film.size
    when_s = film.times_s[n] + np.array(BEFORE_AND_AFTER_S)
    inside = (when_s >= film.times_s[0]) & (when_s <= film.times_s[-1])
    others = np.searchsorted(film.times_s, when_s[inside])
    softened.forget_before(int(np.searchsorted(film.times_s, film.times_s[n] - 2.5)))
    found = np.full((len(others), len(x)), np.nan, dtype=np.float32)
    for k, other in enumerate(np.minimum(others, len(film.times_s) - 1)):
        right, down = way.camera_px[other] - way.camera_px[n]
        there_x, there_y = x + right, y + down
        shown = (there_x >= 0) & (there_x < width) & (there_y >= 0) & (there_y < height)
        found[k] = np.where(shown, softened.at(int(other), there_x, there_y), np.nan)
    return _middle(found)


def _middle(values: Float32) -> Float32:
    """Median of the numbers in each column; not a number where there is none."""
    ordered = np.sort(values, axis=0)  # what is no number comes last
    count = np.isfinite(ordered).sum(axis=0)
    columns = np.arange(values.shape[1])
    low, high = np.maximum((count - 1) // 2, 0), np.maximum(count // 2, 0)
    high = np.minimum(high, len(values) - 1)
    return np.asarray((ordered[low, columns] + ordered[high, columns]) / 2, dtype=np.float32)


def _places(across: int, down: int) -> tuple[Float64, Float64, np.ndarray]:
    """Middles of all cells from the box's middle, in cells, and which are in the box."""
    far = (int(across * AROUND) // 2, int(down * AROUND) // 2)
    columns = np.arange(-far[0], far[0]) + 0.5 + (0.5 if across % 2 else 0.0)
    rows = np.arange(-far[1], far[1]) + 0.5 + (0.5 if down % 2 else 0.0)
    below, right = (grid.ravel() for grid in np.meshgrid(rows, columns, indexing="ij"))
    return right, below, (np.abs(right) < across / 2) & (np.abs(below) < down / 2)
