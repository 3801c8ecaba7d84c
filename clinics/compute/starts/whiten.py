"""A soundtrack with its steady noise levelled out, so that no pitch counts more than another.

The start signal's pitch is not known beforehand, pumps and fans hum, and halls carry low notes
better than high ones. So each soundtrack is filtered by the inverse of its own median spectrum:
afterwards its steady noise has the same level everywhere between LOW_HZ and HIGH_HZ.
"""

from __future__ import annotations

import numpy as np
import scipy
from numpy.typing import NDArray

Float32 = NDArray[np.float32]
Samples = NDArray[np.int16] | NDArray[np.float32]

LOW_HZ, HIGH_HZ = 200.0, 3_800.0  # an underwater housing leaves what is above 200 Hz
FRAME = 512
TAPS = 257
BLOCK = 1 << 18
_SPECTRA = 4_000  # spread over the whole track: enough for a median, however long it is


def median_spectrum(samples: Samples) -> NDArray[np.float64]:
    """Median power in each of 257 bins (rate / 512 Hz apart) over the soundtrack."""
    count = max(len(samples) // FRAME, 1)
    step = max(count // _SPECTRA, 1)
    starts = np.arange(0, count, step) * FRAME
    window = scipy.signal.windows.hann(FRAME).astype(np.float32)
    padded = np.zeros((len(starts), FRAME), dtype=np.float32)
    for row, begin in enumerate(starts):
        piece = samples[begin : begin + FRAME]
        padded[row, : len(piece)] = piece
    power = np.abs(scipy.fft.rfft(padded * window, axis=1)) ** 2
    heard = power.sum(axis=1) > 0
    if not heard.any():
        return np.ones(FRAME // 2 + 1)
    return np.maximum(np.median(power[heard], axis=0).astype(np.float64), 1e-12)


def whitener(samples: Samples, rate_hz: int) -> NDArray[np.float64]:
    """A symmetric filter of 257 taps (no delay when applied with `mode="same"`)."""
    spectrum = median_spectrum(samples)
    smooth = scipy.signal.medfilt(spectrum, 7)
    floor = float(np.median(smooth)) * 1e-3
    gain = 1.0 / np.sqrt(np.maximum(smooth, max(floor, 1e-9)))
    hz = np.linspace(0.0, rate_hz / 2, len(gain))
    gain[(hz < LOW_HZ) | (hz > min(HIGH_HZ, 0.475 * rate_hz))] = 0.0
    taps = np.asarray(scipy.fft.irfft(gain, FRAME))
    return np.roll(taps, TAPS // 2)[:TAPS] * scipy.signal.windows.hann(TAPS)


def whiten(samples: Samples, taps: NDArray[np.float64]) -> Float32:
    """float32, as long as `samples`; filtered in blocks, so that an hour stays lean."""
    half = len(taps) // 2
    out = np.empty(len(samples), dtype=np.float32)
    taps32 = taps.astype(np.float32)
    for begin in range(0, len(samples), BLOCK):
        low, high = max(begin - half, 0), min(begin + BLOCK + half, len(samples))
        piece = np.asarray(samples[low:high], dtype=np.float32)
        filtered = scipy.signal.oaconvolve(piece, taps32, mode="same")
        end = min(begin + BLOCK, len(samples))
        out[begin:end] = filtered[begin - low : begin - low + end - begin]
    return out
