"""Where a learned start signal arrives in a soundtrack: a matched filter and its peaks.

The score is the correlation coefficient of the (whitened) signal with the (whitened) soundtrack
at each place, from 0 to 1: how alike, not how loud, so that a shout counts no more than a far
horn. It is taken without sign, since a microphone may be wired either way round.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from clinics.compute.starts.whiten import Float32

Float64 = NDArray[np.float64]
APART_S = 0.8  # two starts are never as near as that; of nearer peaks the highest counts
STEP_S = 0.002  # peaks are looked for among the highest values of such steps
BLOCK = 1 << 18


@dataclass(frozen=True)
class Arrivals:
    """Times in media seconds (float64 [n], rising) of the signal's onset, and scores 0 to 1."""

    media_s: Float64
    score: Float64

    def __len__(self) -> int:
        return len(self.media_s)

    def best(self, count: int) -> Arrivals:
        """The `count` highest, in order of time."""
        if len(self) <= count:
            return self
        chosen = np.sort(np.argsort(self.score)[::-1][:count])
        return Arrivals(self.media_s[chosen], self.score[chosen])


def score_of(track: Float32, template: Float32) -> Float32:
    """|correlation coefficient| with the template beginning at each sample, float32 [n].

    `track` and `template` are whitened alike. Blocks keep an hour of sound lean.
    """
    length = len(template)
    unit = template / max(float(np.linalg.norm(template)), 1e-12)
    size = scipy.fft.next_fast_len(BLOCK + length)
    spectrum = np.conj(scipy.fft.rfft(unit, size))
    out = np.zeros(len(track), dtype=np.float32)
    floor = length * float(np.median(track[:: max(len(track) // 100_000, 1)] ** 2)) * 0.25 + 1e-12
    for begin in range(0, len(track), BLOCK):
        piece = track[begin : begin + BLOCK + length]
        padded = np.zeros(BLOCK + length, dtype=np.float32)
        padded[: len(piece)] = piece
        across = scipy.fft.irfft(scipy.fft.rfft(padded, size) * spectrum, size)[:BLOCK]
        energy = np.cumsum(np.concatenate([[0.0], padded.astype(np.float64) ** 2]))
        local = energy[length : length + BLOCK] - energy[:BLOCK]
        end = min(begin + BLOCK, len(track))
        value = np.abs(across) / np.sqrt(np.maximum(local, floor))
        out[begin:end] = value[: end - begin]
    return out


def find_arrivals(score: Float32, rate_hz: int, *, per_minute: float = 8.0) -> Arrivals:
    """The highest peaks, at least APART_S apart: `per_minute` of them and ten more."""
    step = max(round(STEP_S * rate_hz), 1)
    whole = len(score) // step * step
    if whole == 0:
        return Arrivals(np.empty(0), np.empty(0))
    coarse = score[:whole].reshape(-1, step).max(axis=1)
    peaks, _facts = scipy.signal.find_peaks(coarse, distance=max(round(APART_S / STEP_S), 1))
    wanted = int(per_minute * len(score) / rate_hz / 60) + 10
    if len(peaks) > wanted:
        peaks = np.sort(peaks[np.argsort(coarse[peaks])[::-1][:wanted]])
    at = peaks * step + np.array([int(np.argmax(score[p * step : (p + 1) * step])) for p in peaks])
    at = at.astype(np.int64)
    return Arrivals(_between_samples(score, at) / rate_hz, score[at].astype(np.float64))


def _between_samples(score: Float32, at: NDArray[np.int64]) -> Float64:
    """The top of a parabola through each peak and its neighbours."""
    inner = np.clip(at, 1, len(score) - 2)
    left, top, right = (score[inner + k].astype(np.float64) for k in (-1, 0, 1))
    bend = left - 2 * top + right
    shift = np.where(bend < -1e-12, 0.5 * (left - right) / np.where(bend < -1e-12, bend, 1), 0.0)
    return inner + np.clip(shift, -0.5, 0.5)


QUIETEST = 0.03  # of the loudest place: what is quieter is not like anything, however alike
FINER = 16  # a held tone's cycles are told apart only between the samples


def best_fit(piece: Float64, template: Float64) -> tuple[float, float]:
    """Where a template fits a longer piece best: (samples from the piece's begin, coefficient),
    as `fits_at` has it."""
    lag, value = fits_at(piece, template)
    top = int(np.argmax(np.abs(value)))
    return float(lag[top]), float(value[top])


def fits_at(piece: Float64, template: Float64) -> tuple[Float64, Float64]:
    """Lags (samples from the piece's begin, in steps of 1 / FINER) and the signed correlation
    coefficient, -1 to 1, at each.

    Finer than the samples are: a tone of 1 kHz has eight samples a cycle, and between two
    cycles the fit differs by less than between a sample and its neighbour.
    """
    length, lags = len(template), len(piece) - len(template) + 1
    size = scipy.fft.next_fast_len(len(piece))
    spectrum = scipy.fft.rfft(piece, size) * np.conj(scipy.fft.rfft(template, size))
    across = (
        scipy.fft.irfft(_stretched(spectrum, size), size * FINER)[: (lags - 1) * FINER + 1] * FINER
    )
    power = np.cumsum(np.concatenate([[0.0], piece**2]))
    energy = power[length:] - power[: len(power) - length]
    at = np.arange(len(across)) / FINER
    energy = np.interp(at, np.arange(lags), energy)
    floor = 1e-12 + QUIETEST * float(energy.max())
    value = across / np.sqrt(np.maximum(energy, floor) * max(float(template @ template), 1e-12))
    return at, value


def _stretched(spectrum: NDArray[np.complex128], size: int) -> NDArray[np.complex128]:
    """The spectrum of the same signal sampled FINER times as often."""
    wide = np.zeros(size * FINER // 2 + 1, dtype=np.complex128)
    wide[: len(spectrum)] = spectrum
    if size % 2 == 0:
        wide[len(spectrum) - 1] *= 0.5  # shared by the two sides of the old limit
    return wide


EARLIER_S, LATER_S = 0.25, 0.03  # than the whole signal's best place: where its beginning is
NEARLY = 0.85  # of the best fit: the first moment that fits so well is the beginning
ONSET_S = 0.025  # within which the best of the beginning is taken


def beginning(lag: Float64, fit: Float64, rate_hz: int) -> float:
    """The lag at which the signal begins: the best within ONSET_S of the first good one.

    Behind it a held tone fits as well or better, where echoes have piled up.
    """
    height = np.abs(fit)
    first = int(np.argmax(height >= NEARLY * float(height.max())))
    reach = (lag >= lag[first]) & (lag <= lag[first] + ONSET_S * rate_hz)
    return float(lag[reach][np.argmax(height[reach])])


def timed(track: Float32, attack: Float32, onset: int, rough: Arrivals, rate_hz: int) -> Float64:
    """Each arrival's onset in media seconds, timed by the attack alone.

    A held tone says little about when it began, and echoes pile up on it; its first moments
    are clean. float64 [n], in the order of `rough`.
    """
    before, after, length = round(EARLIER_S * rate_hz), round(LATER_S * rate_hz), len(attack)
    template = attack.astype(np.float64)
    found = rough.media_s.copy()
    for n, media_s in enumerate(rough.media_s):
        low = round(media_s * rate_hz) - onset - before
        piece = track[max(low, 0) : low + before + after + length].astype(np.float64)
        if low < 0 or len(piece) < before + after + length:
            continue
        lag, fit = fits_at(piece, template)
        found[n] = (low + onset + beginning(lag, fit, rate_hz)) / rate_hz
    return found
