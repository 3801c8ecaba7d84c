"""How fast the strokes follow one another, from their phase over the whole stretch.

The lag at which a picture is most like the one before comes out a little short when strokes are
uneven, for what is further on is less alike. Here every cell is fitted by the harmonics of one
phase, the phase is corrected where the cells together say it is early or late, and so on a few
times (complex demodulation, with the harmonics of all cells as what is looked for). The slope of a
straight line through the phase is the rate.
"""

from __future__ import annotations

import numpy as np
import scipy
from numpy.typing import NDArray

from feedback.compute.rate_read.film import Float32, Float64
from feedback.compute.rate_read.rhythm import PER_S

MOST_HARMONICS = 6
HIGHEST_HZ = 5.5
TIMES = 4
CALM_CYCLES = 0.6  # one standard deviation of the window over which cells say early or late
FARTHEST = 1.0  # radians, of one correction


def rate_by_phase(values: Float32, rate: float) -> float:
    """Cycles a minute. ``values``: [n, cells] at even times (PER_S), two seconds and more;
    ``rate``: about right, within a few parts of a hundred."""
    hz = rate / 60
    cells = scipy.signal.detrend(values.astype(np.float64), axis=0)
    orders = np.arange(1, max(1, min(MOST_HARMONICS, int(HIGHEST_HZ / hz))) + 1)
    at_s = np.arange(len(values)) / PER_S
    phase = 2 * np.pi * hz * at_s
    for _ in range(TIMES):
        ahead = _ahead(cells, phase, orders, CALM_CYCLES / hz * PER_S)
        phase = phase + np.clip(ahead, -FARTHEST, FARTHEST)
    slope = float(np.polyfit(at_s, phase, 1)[0])
    return slope / (2 * np.pi) * 60


def _ahead(cells: Float64, phase: Float64, orders: NDArray[np.int64], calm: float) -> Float64:
    """By how much what is seen is ahead of `phase`, in radians at each instant: one step of Gauss
    and Newton. A cell counts by what the harmonics tell of it beyond what they would of noise,
    against what they leave."""
    turning = np.exp(1j * np.outer(phase, orders))
    waves = np.concatenate([turning.real, turning.imag], axis=1)
    fitted = np.linalg.lstsq(waves, cells, rcond=None)[0]
    whole = (cells**2).sum(axis=0) + 1e-9
    left = ((cells - waves @ fitted) ** 2).sum(axis=0) + 1e-9
    by_chance = waves.shape[1] / len(cells)
    counts = np.clip((1 - left / whole - by_chance) / (1 - by_chance), 0, 1) / left
    size = fitted[: len(orders)] - 1j * fitted[len(orders) :]
    ahead = ((cells @ (np.conj(size) * counts).T) * np.conj(turning)).imag @ orders
    needed = float((orders**2 * (np.abs(size) ** 2 @ counts)).sum()) / 2
    calmed, ones = (
        scipy.ndimage.gaussian_filter1d(line, calm, mode="constant")
        for line in (ahead, np.ones(len(phase)))
    )
    return np.asarray(calmed / ones / max(needed, 1e-12))
