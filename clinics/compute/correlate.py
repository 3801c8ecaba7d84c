"""Two soundtracks of one hall against each other: a coarse place on one clock, honestly coarse.

First the loudness of a few bands over the whole length (FFT), which survives distance and
reverberation; then, near what stands out, generalised cross-correlation with phase transform in
windows, and a Theil-Sen line through the windows that agree.

C. H. Knapp, G. C. Carter, "The generalized correlation method for estimation of time delay",
IEEE Trans. ASSP 24 (1976), doi:10.1109/TASSP.1976.1162830. Why it stays coarse: the loudest
sounds come from anywhere, and 25 m of air are 73 ms; measured on simulated halls the line is
wrong by 36 to 52 ms however many windows agree. So `u_s` never falls below 0.1 s.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

Float32 = NDArray[np.float32]
Float64 = NDArray[np.float64]
Samples = NDArray[np.int16] | Float32

LEAST_U_S = 0.1
STEP_S = 0.04  # of the coarse search
BAND_EDGES_HZ = (200.0, 400.0, 650.0, 950.0, 1300.0, 1750.0, 2300.0, 3000.0, 3800.0)
LEVEL_MEMORY_S = 2.0  # steady noise and slow changes say nothing
LEAST_OVERLAP_S = 20.0
RATE_PPM = 250.0  # two cameras' clocks, each up to 125 ppm off
CANDIDATES = 3
CANDIDATES_APART_S = 2.0
WINDOW_S = 12.0
WINDOWS_AT_MOST = 60
SEARCH_S = 2.0
AGREE_S = 0.1  # sounds from both sides of a 25 m pool reach two cameras that far apart
CHANCE_AT_MOST = 1e-5
PHAT_BAND_HZ = (250.0, 3600.0)
CHUNK_S = 60.0


@dataclass(frozen=True)
class SoundShift:
    """What is heard at `at_s` in one is heard at `at_s + shift_s` in the other.

    `rate_ppm`: by how much the shift grows with the time of the one, parts per million; from
    windows some tens of ms off each, so of little worth below some 50 ppm. `u_s`: standard
    uncertainty of the shift at `at_s`, never below 0.1 s. `chance`: an upper bound of the
    probability that so many windows agree by chance.
    """

    shift_s: float
    u_s: float
    windows_agreeing: int
    windows: int
    at_s: float
    rate_ppm: float
    chance: float


def shift_between(
    one: Samples, other: Samples, rate_hz: int, *, max_shift_s: float | None = None
) -> SoundShift | None:
    """How much later the other recording has the same sounds; None if windows do not agree.

    Both at `rate_hz`, mono, on their own clocks. `max_shift_s`: shifts beyond it are not looked
    for; None means as far as the recordings overlap by 20 s. Also None when two places fit.
    """
    found = []
    for shift_s in _coarse(one, other, rate_hz, max_shift_s):
        refined = _refined(one, other, rate_hz, shift_s)
        if refined is not None:
            found.append(refined)
    if not found:
        return None
    best = min(found, key=lambda each: each.chance)
    rivals = [each for each in found if abs(each.shift_s - best.shift_s) > SEARCH_S]
    return None if rivals else best


# --- coarse: how loud, over the whole length -----------------------------------------------------


def _coarse(
    one: Samples, other: Samples, rate_hz: int, max_shift_s: float | None
) -> Iterator[float]:
    """The shifts that stand out most, best first."""
    if min(len(one), len(other)) / rate_hz < LEAST_OVERLAP_S:
        return
    first, second = _levels(one, rate_hz), _levels(other, rate_hz)
    n, m = first.shape[1], second.shape[1]
    size = scipy.fft.next_fast_len(n + m - 1, real=True)
    spectrum = np.zeros(size // 2 + 1, dtype=np.complex64)
    for row_one, row_other in zip(first, second, strict=True):
        spectrum += np.conj(scipy.fft.rfft(row_one, size)) * scipy.fft.rfft(row_other, size)
    around = scipy.fft.irfft(spectrum, size)
    shifts = np.arange(-(n - 1), m)
    height = around[shifts % size].astype(np.float64)
    overlap = np.minimum(n, m - shifts) - np.maximum(0, -shifts)
    # Clocks that run apart smear the match over as many steps.
    smear = max(1, round(RATE_PPM * 1e-6 * min(n, m))) + 2
    height = scipy.ndimage.uniform_filter1d(height / np.sqrt(np.maximum(overlap, 1)), smear)
    height[overlap * STEP_S < LEAST_OVERLAP_S] = -np.inf
    if max_shift_s is not None:
        height[np.abs(shifts) * STEP_S > max_shift_s] = -np.inf
    for _ in range(CANDIDATES):
        best = int(np.argmax(height))
        if not np.isfinite(height[best]):
            return
        yield float(shifts[best]) * STEP_S
        apart = round((CANDIDATES_APART_S + smear * STEP_S) / STEP_S)
        height[max(0, best - apart) : best + apart + 1] = -np.inf


def _levels(samples: Samples, rate_hz: int) -> Float32:
    """Level of each band per step against its own surroundings, unit variance: [bands, steps]."""
    step = round(STEP_S * rate_hz)
    hz = scipy.fft.rfftfreq(2 * step, 1 / rate_hz)
    edges = np.searchsorted(hz, BAND_EDGES_HZ)
    window = np.hanning(2 * step).astype(np.float32)
    steps = len(samples) // step - 1
    levels = np.zeros((len(BAND_EDGES_HZ) - 1, steps), dtype=np.float32)
    per_chunk = round(CHUNK_S / STEP_S)
    for begin in range(0, steps, per_chunk):
        end = min(begin + per_chunk, steps)
        piece = np.asarray(samples[begin * step : (end + 1) * step], dtype=np.float32)
        frames = np.lib.stride_tricks.sliding_window_view(piece, 2 * step)[::step] * window
        power = np.abs(scipy.fft.rfft(frames, axis=1)) ** 2
        bands = np.add.reduceat(power[:, : edges[-1]], edges[:-1], axis=1)
        levels[:, begin:end] = bands.T
    levels = np.log(levels + 1e-6 * float(levels.mean()) + 1e-12)
    levels -= scipy.ndimage.uniform_filter1d(levels, round(LEVEL_MEMORY_S / STEP_S), axis=1)
    spread = np.maximum(levels.std(axis=1, keepdims=True), 1e-6)
    return np.asarray(np.clip(levels / spread, -3, 3), dtype=np.float32)


# --- fine: phase transform in windows ------------------------------------------------------------


def _refined(one: Samples, other: Samples, rate_hz: int, shift_s: float) -> SoundShift | None:
    """The line through the windows that agree near `shift_s`, or None if too few do."""
    begin_s = max(0.0, -shift_s) + SEARCH_S
    end_s = min(len(one) / rate_hz, len(other) / rate_hz - shift_s) - SEARCH_S
    search_s = SEARCH_S + RATE_PPM * 1e-6 * max(end_s - begin_s, 0.0) / 2
    count = min(int((end_s - begin_s) / WINDOW_S), WINDOWS_AT_MOST)
    if count < 3:
        return None
    at, shifts = [], []
    for middle_s in begin_s + (np.arange(count) + 0.5) * (end_s - begin_s) / count:
        delay_s = _delay(one, other, rate_hz, float(middle_s), shift_s, search_s)
        if delay_s is not None:
            at.append(float(middle_s))
            shifts.append(shift_s + delay_s)
    if len(at) < 3:
        return None
    return _line(np.asarray(at), np.asarray(shifts), search_s)


def _delay(
    one: Samples, other: Samples, rate_hz: int, middle_s: float, shift_s: float, search_s: float
) -> float | None:
    """By how much more than `shift_s` the window comes later in the other; None in silence."""
    half, reach = round(WINDOW_S / 2 * rate_hz), round(search_s * rate_hz)
    centre = round(middle_s * rate_hz)
    there = centre + round(shift_s * rate_hz)
    mine = np.asarray(one[max(centre - half, 0) : centre + half], dtype=np.float32)
    first = max(there - half - reach, 0)
    theirs = np.asarray(other[first : there + half + reach], dtype=np.float32)
    if not mine.any() or not theirs.any():
        return None
    size = scipy.fft.next_fast_len(len(mine) + len(theirs), real=True)
    cross = np.conj(scipy.fft.rfft(mine, size)) * scipy.fft.rfft(theirs, size)
    hz = scipy.fft.rfftfreq(size, 1 / rate_hz)
    cross /= np.maximum(np.abs(cross), 1e-9)
    cross[(hz < PHAT_BAND_HZ[0]) | (hz > PHAT_BAND_HZ[1])] = 0
    match = scipy.fft.irfft(cross, size)
    zero = there - half - first if centre >= half else there - centre - first
    lags = np.arange(max(zero - reach, 1), zero + reach + 1)
    peak = int(lags[np.argmax(match[lags])])
    rounded_s = round(shift_s * rate_hz) / rate_hz - shift_s
    return (peak - zero + _vertex(match[peak - 1 : peak + 2])) / rate_hz + rounded_s


def _vertex(three: Float32) -> float:
    """Where the parabola through three neighbours is highest, from the middle one, in samples.

    >>> round(_vertex(np.array([0.0, 1.0, 0.5], dtype=np.float32)), 3)
    0.167
    """
    before, top, after = (float(value) for value in three)
    bend = before - 2 * top + after
    return 0.0 if bend >= 0 else 0.5 * (before - after) / bend


def _line(at_s: Float64, shifts_s: Float64, search_s: float) -> SoundShift | None:
    """Consensus of pairs, then Theil-Sen on those that agree; None if chance explains it."""
    agree, tried = _consensus(at_s, shifts_s)
    count, of = int(agree.sum()), len(at_s)
    share = AGREE_S / search_s
    chance = min(1.0, tried * float(scipy.stats.binom.sf(count - 3, of - 2, share)))
    if chance > CHANCE_AT_MOST or count < 3:
        return None
    slope, _, _, _ = scipy.stats.theilslopes(shifts_s[agree], at_s[agree])
    slope = float(np.clip(slope, -RATE_PPM * 1e-6, RATE_PPM * 1e-6))
    middle_s = float(np.median(at_s[agree]))
    levels = shifts_s[agree] - slope * (at_s[agree] - middle_s)
    spread_s = float(scipy.stats.median_abs_deviation(levels, scale="normal"))
    return SoundShift(
        shift_s=float(np.median(levels)),
        u_s=float(np.hypot(LEAST_U_S, spread_s)),
        windows_agreeing=count,
        windows=of,
        at_s=middle_s,
        rate_ppm=slope * 1e6,
        chance=chance,
    )


def _consensus(at_s: Float64, shifts_s: Float64) -> tuple[NDArray[np.bool_], int]:
    """Which windows lie on the line through two of them that most others lie on, and how many
    lines were tried. Lines steeper than two clocks can run apart are none."""
    first, second = np.triu_indices(len(at_s), 1)
    slope = (shifts_s[second] - shifts_s[first]) / (at_s[second] - at_s[first])
    possible = np.abs(slope) <= RATE_PPM * 1e-6
    # Neighbouring windows may be 100 ms apart and still agree: the level line through each counts.
    slope = np.concatenate([slope[possible], np.zeros(len(at_s))])
    through = np.concatenate([first[possible], np.arange(len(at_s))])
    expected = shifts_s[through, None] + slope[:, None] * (at_s[None, :] - at_s[through, None])
    near = np.abs(shifts_s[None, :] - expected) <= AGREE_S
    best = int(np.argmax(near.sum(axis=1)))
    return near[best], len(slope)
