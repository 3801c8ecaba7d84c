"""The irregular intervals of a start log, looked for in every pitch of a soundtrack.

Neither the file's date nor the signal's sound is needed: at the right offset one pitch is loud at
all starts. Every band of the spectrogram is correlated with a comb that has a tooth at each tap,
as wide as taps scatter, over all offsets by FFT; the best band counts at each offset.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from clinics.compute.starts.matching import SMALLEST_P, shuffled
from clinics.compute.starts.whiten import HIGH_HZ, LOW_HZ, Samples

Float32 = NDArray[np.float32]
Float64 = NDArray[np.float64]
FRAME, HOP = 512, 256  # 64 and 32 ms at 8 kHz
CAP = 2.5  # of a logarithmic level over the band's own median: a shout counts no more than that
TAP_WIDTH_S = 0.15
OWN_WIDTH_S = 1.5  # a peak's own neighbourhood
CHUNK = 1 << 20


@dataclass(frozen=True)
class Hunch:
    """A place that the comb likes: where media_s = 0 would lie on the taps' clock, in which band
    (its middle in Hz), and how far it stands out (standard deviations)."""

    zero_s: float
    hz: float
    height: float


def loudness_in_bands(samples: Samples, rate_hz: int) -> tuple[Float32, Float64]:
    """How far each band stands above its own median and above the other bands.

    float32 [frames, bands] from 0 to CAP; and the bands' middles in Hz. A splash is loud in all
    bands at once, a horn or whistle in few: what all bands share is taken off.
    """
    window = scipy.signal.windows.hann(FRAME).astype(np.float32)
    hz = scipy.fft.rfftfreq(FRAME, 1 / rate_hz)
    low, high = np.searchsorted(hz, [LOW_HZ, min(HIGH_HZ, 0.475 * rate_hz)])
    starts = (high - low - 1) // 2
    rows = max((len(samples) - FRAME) // HOP + 1, 0)
    levels = np.empty((rows, starts), dtype=np.float32)
    per_chunk = CHUNK // HOP
    for begin in range(0, rows, per_chunk):
        end = min(begin + per_chunk, rows)
        piece = np.asarray(samples[begin * HOP : (end - 1) * HOP + FRAME], dtype=np.float32)
        frames = np.lib.stride_tricks.sliding_window_view(piece, FRAME)[::HOP] * window
        power = np.abs(scipy.fft.rfft(frames, axis=1)[:, low:high]) ** 2
        pairs = power[:, : 2 * starts].reshape(end - begin, starts, 2).sum(axis=2)
        levels[begin:end] = np.log(pairs + 1e-3)
    if rows == 0:
        return levels, np.empty(0)
    levels -= np.median(levels[:: max(rows // 20_000, 1)], axis=0)
    shared = np.median(levels, axis=1)
    levels -= np.maximum(shared, 0.0)[:, None]
    np.clip(levels, 0.0, CAP, out=levels)
    middles = (hz[low : low + 2 * starts : 2] + hz[low + 1 : low + 1 + 2 * starts : 2]) / 2
    return levels, middles


def hunches(
    levels: Float32, hz: Float64, rate_hz: int, taps_s: Sequence[float], *, count: int = 4
) -> list[Hunch]:
    """The places that stand out most, best first, OWN_WIDTH_S apart. Empty if nothing is heard
    or fewer than three taps are there."""
    hop_s = HOP / rate_hz
    if len(levels) < 4 or len(taps_s) < 3:
        return []
    taps = np.sort(np.asarray(taps_s, dtype=np.float64))
    span_s = float(taps[-1] - taps[0])
    size = scipy.fft.next_fast_len(len(levels) + int(span_s / hop_s) + 64)
    comb = scipy.fft.rfft(_comb(taps - taps[0], hop_s, size).astype(np.float32))
    best = np.full(size, -np.inf, dtype=np.float32)
    which = np.zeros(size, dtype=np.int16)
    for band in range(levels.shape[1]):
        column = levels[:, band]
        column = column - column.mean()
        across = scipy.fft.irfft(scipy.fft.rfft(column, size) * np.conj(comb), size)
        spread = 1.4826 * float(np.median(np.abs(across[::7]))) + 1e-9
        across = (across / spread).astype(np.float32)
        better = across > best
        which[better] = band
        np.maximum(best, across, out=best)
    return _tops(best, which, hz, hop_s, float(taps[0]), len(levels), count)


def false_match_p(
    levels: Float32,
    hz: Float64,
    rate_hz: int,
    taps_s: Sequence[float],
    found: Sequence[Hunch],
    shuffles: int,
    seed: int = 1,
) -> float:
    """Probability that a start log without any connection stands out as far as `found[0]`.

    `shuffles` logs with the same intervals in another order are laid over the same sound; the
    heights they reach have a Gumbel distribution, as maxima have, fitted by their moments.
    """
    if not found or len(taps_s) < 4:
        return 1.0
    rng = np.random.default_rng(seed)
    taps = np.asarray(taps_s, dtype=np.float64)
    heights = [
        hunches(levels, hz, rate_hz, shuffled(taps, rng).tolist(), count=1)[0].height
        for _ in range(shuffles)
    ]
    scale = max(float(np.std(heights, ddof=1)) * math.sqrt(6) / math.pi, 1e-6)
    middle = float(np.mean(heights)) - 0.5772156649 * scale
    by_chance = -math.expm1(-math.exp(-(found[0].height - middle) / scale))
    return float(min(max(by_chance, SMALLEST_P), 1.0))


def _comb(taps: Float64, hop_s: float, size: int) -> Float64:
    teeth = np.zeros(size)
    at = np.arange(size) * hop_s
    reach = int(4 * TAP_WIDTH_S / hop_s) + 1
    for tap in taps:
        middle = round(tap / hop_s)
        around = np.arange(middle - reach, middle + reach + 1)
        teeth[around % size] += np.exp(
            -0.5 * ((at[around % size] + (around // size) * size * hop_s - tap) / TAP_WIDTH_S) ** 2
        )
    return teeth


def _tops(
    best: Float32, which: NDArray[np.int16], hz: Float64, hop_s: float, first_s: float,
    rows: int, count: int,
) -> list[Hunch]:  # fmt: skip
    """Lag k: the first tap lies k hops after the track's begin (negative lags wrap round)."""
    found: list[Hunch] = []
    height = best.copy()
    width = max(round(OWN_WIDTH_S / hop_s), 1)
    for _ in range(count):
        lag = int(np.argmax(height))
        around = np.arange(lag - width, lag + width + 1) % len(height)
        signed = lag if lag < rows else lag - len(height)
        middle_s = FRAME / 2 / HOP * hop_s
        found.append(
            Hunch(first_s - (signed * hop_s + middle_s), float(hz[which[lag]]), float(height[lag]))
        )
        height[around] = -np.inf
    return found
