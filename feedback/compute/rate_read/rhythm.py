"""At what lags what happens in the swimmer's box comes again.

The spectra of all cells of the box are added, those of the cells around it taken off row by row
(a wave or a rope makes the same there), and the autocorrelation is their transform (Wiener and
Khinchin). Adding spectra leaves aside at which phase of the stroke each cell is bright.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy

from feedback.compute.rate_read.cells import Cells
from feedback.compute.rate_read.film import Float32, Float64

PER_S = 20.0
"""Cells are put on even times at this rate: strokes and kicks are slower than 5 a second."""
HIGHEST_HZ = 6.0
LEAST_CYCLES = 1.8
"""What comes again less often in the span is a drift."""
LONGEST_LAG = 0.55  # of the span
OUT_OF_USUAL = 1.5  # times what the surroundings do, and a cell counts
FLANKS = 0.5  # of the span, that its window rises and falls
MEDIAN_OF_POWER = 1 / np.log(2)  # mean of noise's power against its middle value


@dataclass(frozen=True, eq=False)
class Even:
    """Cells at even times: ``inside`` and ``around`` float32 [n, cells], ``begins_s``."""

    inside: Float32
    around: Float32
    row_inside: np.ndarray
    row_around: np.ndarray
    begins_s: float

    def between(self, first: int, end: int) -> Even:
        begins_s = self.begins_s + first / PER_S
        return Even(
            self.inside[first:end],
            self.around[first:end],
            self.row_inside,
            self.row_around,
            begins_s,
        )


@dataclass(frozen=True, eq=False)
class Rhythm:
    """``hz``, ``power``: the spectrum of what the swimmer alone does; ``again``: how much what is
    seen is like what was seen ``lag_s`` before, 1 for the same."""

    hz: Float64
    power: Float64
    lag_s: Float64
    again: Float64
    span_s: float

    def again_at(self, lag_s: float) -> float:
        return float(np.interp(lag_s, self.lag_s, self.again, right=np.nan))

    def peaks(self, prominence: float = 0.05) -> list[tuple[float, float]]:
        """Lag in seconds and likeness of each peak, the lag taken between the steps."""
        places, _ = scipy.signal.find_peaks(self.again, prominence=prominence)
        found = []
        for at in places:
            before, top, after = self.again[at - 1 : at + 2]
            off = 0.5 * (before - after) / (before - 2 * top + after)
            found.append(((at + off) * float(self.lag_s[1]), float(top)))
        return found


def at_even_times(cells: Cells, times_s: Float64) -> Even:
    even_s = np.arange(times_s[0], times_s[-1], 1 / PER_S)
    inside, around = (_resampled(c, times_s, even_s) for c in (cells.inside, cells.around))
    return Even(inside, around, cells.row_inside, cells.row_around, float(times_s[0]))


def _resampled(values: Float32, times_s: Float64, even_s: Float64) -> Float32:
    """By a straight line between the two nearest pictures."""
    if values.shape[1] == 0:
        return np.zeros((len(even_s), 0), dtype=np.float32)
    found = scipy.interpolate.interp1d(times_s, values, axis=0, assume_sorted=True)(even_s)
    return np.asarray(found, dtype=np.float32)


def rhythm_of(even: Even) -> Rhythm:
    """Of a span as a whole. ``even`` has at least a second."""
    count = len(even.inside)
    span_s = count / PER_S
    size = 2 * scipy.fft.next_fast_len(count, real=True)
    hz = np.arange(size // 2 + 1) * PER_S / size
    window = scipy.signal.windows.tukey(count + 2, FLANKS)[1:-1].astype(np.float32)
    passes = hz * (hz > LEAST_CYCLES / span_s) / (1 + (hz / HIGHEST_HZ) ** 8)
    power = passes * _swimmer_power(even, window, passes)
    again = scipy.fft.irfft(power, n=size)
    of_window = scipy.fft.irfft(np.abs(scipy.fft.rfft(window, n=size)) ** 2, n=size)
    lags = int(LONGEST_LAG * count)
    again = again[:lags] / np.maximum(of_window[:lags], 1e-9)
    again = again / again[0] if again[0] > 0 else np.zeros(lags)
    return Rhythm(hz, power, np.arange(lags) / PER_S, again, span_s)


def _swimmer_power(even: Even, window: Float32, passes: Float64) -> Float64:
    """What each cell does beyond its surroundings; a cell that does little more counts little."""
    size = 2 * (len(passes) - 1)  # even, as rhythm_of takes it
    inside = _power(even.inside, window, size)
    around = _power(even.around, window, size)
    everywhere = np.median(around, axis=1) if around.shape[1] else np.zeros(len(inside))
    total = np.zeros(len(inside))
    for row in np.unique(even.row_inside):
        mine, beside = even.row_inside == row, even.row_around == row
        usual = np.median(around[:, beside], axis=1) if beside.sum() >= 3 else everywhere
        usual = MEDIAN_OF_POWER * usual
        stands_out = 1 - OUT_OF_USUAL * (passes @ usual) / (passes @ inside[:, mine] + 1e-9)
        weight = np.maximum(stands_out, 0) ** 2
        total += (inside[:, mine] - usual[:, None]) @ weight
    return np.maximum(total, 0)


def _power(values: Float32, window: Float32, size: int) -> Float64:
    if values.shape[1] == 0:
        return np.zeros((size // 2 + 1, 0))
    ramp = np.linspace(-1, 1, len(values), dtype=np.float32)
    slope = ramp @ values / (ramp @ ramp)
    line = (values - values.mean(axis=0) - ramp[:, None] * slope) * window[:, None]
    spectrum = scipy.fft.rfft(line.astype(np.float32), n=size, axis=0)
    return np.asarray(spectrum.real**2 + spectrum.imag**2)
