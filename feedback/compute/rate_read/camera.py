"""How the camera was turned from one picture to the next: the whole picture's own shift."""

from __future__ import annotations

import numpy as np
import scipy
from numpy.typing import NDArray

from feedback.compute.rate_read.film import Film, Float32, Float64

WIDE_PX = 9
FARTHEST = 0.12
"""Of the picture's width, between two successive pictures."""
CLEARER = 1.25
"""Standing still is believed unless a shift fits so many times better."""

Complex = NDArray[np.complex64]


def halved(grey: NDArray[np.uint8]) -> Float32:
    """Means of 2 by 2 pixels."""
    height, width = grey.shape[0] // 2 * 2, grey.shape[1] // 2 * 2
    blocks = grey[:height, :width].reshape(height // 2, 2, width // 2, 2)
    return blocks.mean(axis=(1, 3), dtype=np.float32)


def turned(film: Film) -> Float64:
    """By how much the scenery has moved in the picture since the first one: float64 [n, 2],
    right and down in pixels of the film, positive when what stands still went right or down.

    Phase correlation of successive pictures (Kuglin and Hines 1975), the peak between pixels by a
    parabola.
    """
    height, width = (side // 2 for side in film.size)
    window = np.outer(np.hanning(height), np.hanning(width)).astype(np.float32)
    steps = np.zeros((len(film.grey), 2))
    before: Complex | None = None
    for n, grey in enumerate(film.grey):
        small = halved(grey)
        detail = (small - scipy.ndimage.uniform_filter(small, WIDE_PX)) * window
        spectrum = scipy.fft.rfft2(detail)
        if before is not None:
            steps[n] = _shift(before, spectrum, (height, width))
        before = spectrum
    return np.cumsum(steps, axis=0) * 2.0


def _shift(before: Complex, now: Complex, shape: tuple[int, int]) -> tuple[float, float]:
    cross = now * np.conj(before)
    cross /= np.abs(cross) + 1e-3 * float(np.abs(cross).max()) + 1e-12
    fits = scipy.fft.irfft2(cross, s=shape)
    reach = max(2, int(FARTHEST * shape[1]))
    rows, columns = (np.r_[0 : min(reach, side // 2), -min(reach, side // 2) : 0] for side in shape)
    near = fits[np.ix_(rows, columns)]
    at = np.unravel_index(int(near.argmax()), near.shape)
    row, column = int(rows[at[0]]), int(columns[at[1]])
    still = float(fits[np.ix_([-1, 0, 1], [-1, 0, 1])].max())
    if max(abs(row), abs(column)) > 1 and fits[row, column] < CLEARER * still:
        row = column = 0
    right = column + _between(fits[row, column - 1], fits[row, column], _next(fits, row, column, 1))
    down = row + _between(fits[row - 1, column], fits[row, column], _next(fits, row, column, 0))
    return right, down


def _next(fits: Float32, row: int, column: int, axis: int) -> float:
    place = (row, column + 1) if axis == 1 else (row + 1, column)
    return float(fits[place[0] % fits.shape[0], place[1] % fits.shape[1]])


def _between(before: float, top: float, after: float) -> float:
    """Where the top of a parabola through three neighbours lies, -0.5 to 0.5."""
    bend = before - 2 * top + after
    return float(np.clip(0.5 * (before - after) / bend, -0.5, 0.5)) if bend < 0 else 0.0
