"""Whether a try-out's soundtrack has the start signal at both starts.

Nobody knows what the signal sounds like, nor how wrong the camera's clock is. What is known is
how far apart the two starts were, by two taps. So whatever stands out in the soundtrack is laid
over what is heard that much later; the start signal is what comes twice and is most alike. How
alike sounds are that lie otherwise apart says what chance, echoes and a pace clock's beep do; the
pair must be more alike than all of those. Two starts are too few to learn the signal from, as
`starts/` does with a whole log.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import scipy
from numpy.typing import NDArray

from clinics.compute.starts.arrivals import fits_at
from clinics.compute.starts.comb import HOP, loudness_in_bands
from clinics.compute.starts.whiten import Float32, Samples, whiten, whitener

BEFORE_S, AFTER_S = 0.25, 0.6  # of what stands out is compared
TOLERANCE_S = 0.6  # two taps, each late by 0.1 to 0.4 s and early by nothing
MOST_LOUD = 80  # moments that are tried
APART_S = 0.25
OTHER_GAPS = 24
SURE, LOOK = 0.5, 0.3  # correlation coefficients of two whitened snippets; our choice
MORE_ALIKE = 0.1  # than any two that lie otherwise apart
SILENT_RMS = 2.0  # of 32768: dither alone
QUIET_SHARE = 0.25  # of the signal's own level: before its onset it is lower
BACK_S = 0.6  # so much earlier than the loudest moment a signal may begin
ALIKE_OVER_S, BOTH_ALIKE = 0.02, 0.5


class Heard(StrEnum):
    SURE = "sure"
    LOOK = "look"  # something comes twice, but faintly, or other things are about as alike
    NOT_FOUND = "not-found"
    SILENT = "silent"
    SHORT = "short"  # shorter than the two starts are apart


@dataclass(frozen=True)
class HeardTwice:
    """`first_s`: media second of the signal's onset at the first start, and `gap_s` from it to
    the second; None unless `state` is sure or look. `alike`: their correlation coefficient, 0 to
    1, and `others` the best of those that lie otherwise apart."""

    state: Heard
    first_s: float | None = None
    gap_s: float | None = None
    alike: float = 0.0
    others: float = 0.0


def heard_twice(samples: Samples, rate_hz: int, gap_s: float) -> HeardTwice:
    """`samples`: mono [n] at `rate_hz`, full scale 32768; `gap_s` between the starts, above 0."""
    if len(samples) == 0 or _rms(samples) < SILENT_RMS:
        return HeardTwice(Heard.SILENT)
    if len(samples) / rate_hz < gap_s + AFTER_S + BEFORE_S:
        return HeardTwice(Heard.SHORT)
    ear = _Ear(samples, rate_hz)
    best = ear.best_pair(gap_s)
    others = max((ear.best_pair(other).alike for other in _other_gaps(ear, gap_s)), default=0.0)
    if best.alike < LOOK or (best.alike < SURE and best.alike <= others):
        return HeardTwice(Heard.NOT_FOUND, alike=best.alike, others=others)
    first_s, exact_s = ear.timed(best)
    sure = best.alike >= SURE and best.alike >= others + MORE_ALIKE
    return HeardTwice(Heard.SURE if sure else Heard.LOOK, first_s, exact_s, best.alike, others)


def _rms(samples: Samples) -> float:
    return float(np.sqrt(np.mean(np.asarray(samples, dtype=np.float64) ** 2)))


def _other_gaps(ear: _Ear, gap_s: float) -> list[float]:
    """Evenly over what the soundtrack has room for, none within the taps' tolerance."""
    longest_s = ear.length / ear.rate_hz - AFTER_S - BEFORE_S
    tried = np.linspace(2.0, max(longest_s, 2.0), OTHER_GAPS)
    return [float(one) for one in tried if abs(one - gap_s) > 2 * TOLERANCE_S]


@dataclass(frozen=True)
class _Pair:
    """Samples at which two snippets begin."""

    alike: float
    first: int = 0
    second: int = 0


class _Ear:
    """One soundtrack, whitened, and the moments that stand out in it."""

    def __init__(self, samples: Samples, rate_hz: int) -> None:
        self.rate_hz = rate_hz
        self.track: Float32 = whiten(samples, whitener(samples, rate_hz))
        self.length = len(self.track)
        self.size = round((BEFORE_S + AFTER_S) * rate_hz)
        self.begins = self._standing_out(samples)

    def _standing_out(self, samples: Samples) -> NDArray[np.int64]:
        """Where snippets begin around the moments that are loudest in few pitches."""
        levels, _hz = loudness_in_bands(samples, self.rate_hz)
        tone = scipy.ndimage.uniform_filter1d(np.sort(levels, axis=1)[:, -4:].sum(axis=1), 7)
        peaks, _facts = scipy.signal.find_peaks(
            tone, distance=max(round(APART_S * self.rate_hz / HOP), 1)
        )
        loudest = np.sort(peaks[np.argsort(tone[peaks])[::-1][:MOST_LOUD]])
        begins = loudest.astype(np.int64) * HOP + HOP - round(BEFORE_S * self.rate_hz)
        return np.clip(begins, 0, max(self.length - self.size, 0))

    def best_pair(self, gap_s: float) -> _Pair:
        best = _Pair(0.0)
        slack = round(TOLERANCE_S * self.rate_hz)
        for first in (int(begin) for begin in self.begins):
            low = max(first + round(gap_s * self.rate_hz) - slack, 0)
            piece = self.track[low : low + self.size + 2 * slack]
            if len(piece) < self.size:
                continue
            at, alike = _laid_over(piece, self.track[first : first + self.size])
            if alike > best.alike:
                best = _Pair(alike, first, low + at)
        return best

    def timed(self, pair: _Pair) -> tuple[float, float]:
        """Media second of the onset, and the gap to a part of a sample.

        A held tone fits as well a few cycles later; its beginning does not, so that decides.
        """
        onset = self._onset(pair)
        before, after, slack = (round(part * self.rate_hz) for part in (0.02, 0.1, 0.02))
        first = max(onset - before, 0)
        low = max(first + pair.second - pair.first - slack, 0)
        snippet = self.track[first : onset + after].astype(np.float64)
        piece = self.track[low : low + len(snippet) + 2 * slack].astype(np.float64)
        if len(piece) <= len(snippet):
            return onset / self.rate_hz, (pair.second - pair.first) / self.rate_hz
        lag, fit = fits_at(piece, snippet)
        second = low + float(lag[int(np.argmax(np.abs(fit)))])
        return onset / self.rate_hz, (second - first) / self.rate_hz

    def _onset(self, pair: _Pair) -> int:
        """Where both begin to be alike, looking back from where they are: noise, voices and
        splashes before the signal differ from start to start."""
        back = min(round(BACK_S * self.rate_hz), pair.first, pair.second)
        one, other = (
            self.track[begin - back : begin + self.size].astype(np.float64)
            for begin in (pair.first, pair.second)
        )
        window = round(ALIKE_OVER_S * self.rate_hz)
        both = scipy.ndimage.uniform_filter1d(one * other, window)
        power = scipy.ndimage.uniform_filter1d(one**2, window) * scipy.ndimage.uniform_filter1d(
            other**2, window
        )
        level = np.sqrt(np.maximum(power, 0.0))
        likeness = np.abs(scipy.ndimage.uniform_filter1d(both, window)) / np.maximum(level, 1e-12)
        floor = float(np.percentile(level, 10))
        top = float(np.percentile(level, 97))
        alike = (likeness > BOTH_ALIKE) & (level > floor + QUIET_SHARE**2 * (top - floor))
        at = first = int(np.argmax(np.where(alike, level, 0.0)))
        gap, most = 0, round(0.06 * self.rate_hz)  # a trill has gaps; the signal goes over them
        while at > 0 and gap <= most:
            at -= 1
            gap = 0 if alike[at] else gap + 1
            first = at if alike[at] else first
        return pair.first - back + first + window // 2


def _laid_over(piece: Float32, snippet: Float32) -> tuple[int, float]:
    """Where in the piece the snippet fits best, and the correlation coefficient there, without
    sign: a microphone may be wired either way round."""
    lags = len(piece) - len(snippet) + 1
    size = scipy.fft.next_fast_len(len(piece))
    across = scipy.fft.irfft(
        scipy.fft.rfft(piece, size) * np.conj(scipy.fft.rfft(snippet, size)), size
    )[:lags]
    power = np.cumsum(np.concatenate([[0.0], piece.astype(np.float64) ** 2]))
    energy = power[len(snippet) :] - power[:lags]
    own = float(np.linalg.norm(snippet))
    floor = 0.05 * float(energy.max()) + 1e-12
    alike = np.abs(across) / (np.sqrt(np.maximum(energy, floor)) * max(own, 1e-12))
    at = int(np.argmax(alike))
    return at, float(alike[at])
