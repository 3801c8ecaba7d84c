"""The slate's tone: a sweep that rises by 2,400 Hz in a quarter of a second, once a second.

A sweep is found by its matched filter: noise, voices and whistles spread over the filter's whole
length, the sweep gathers in 1/2400 s. (Pulse compression; the gain is bandwidth times length,
here 600: Turin, "An introduction to matched filters", IRE Transactions on Information Theory 6,
1960, doi:10.1109/TIT.1960.1057571.) The score is the share of the sound's loudness in the tone's
band that is the sweep itself, so it knows no level: 1 is the sweep alone, chance in an hour of
noise gives at most about 0.17.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

FROM_HZ, TO_HZ, LENGTH_S = 800.0, 3200.0, 0.25
EVERY_S = 1.0
"""A tone begins at each whole second of server time."""
FADE_S = 0.01
LEAST_SCORE = 0.2
IN_STEP_S = 0.004
"""A tone counts if another one is a whole number of seconds away, to within this. The phone is
heard before and after it is in the picture, so there always is one; a whistle that happens to rise
like the tone has none (without this rule 19 such were taken in 100 minutes with 6,600 glides)."""
IN_STEP_SECONDS = 4
FIRST_ARRIVAL_S, FIRST_ARRIVAL_SHARE = 0.02, 0.7
"""A wall may throw back more than comes straight: within so long before the loudest arrival, the
first one with that share of it counts."""
BLOCK = 1 << 16
Complex = NDArray[np.complex64]
Floats = NDArray[np.float64]


def rising_tone(rate_hz: int) -> Floats:
    """The tone as it is played: float64 [n] between -1 and 1.

    >>> len(rising_tone(8000))
    2000
    """
    return np.asarray(np.real(_sweep(rate_hz)), dtype=np.float64)


def _sweep(rate_hz: int) -> NDArray[np.complex128]:
    """The tone and, as imaginary part, itself a quarter turn later; ends faded."""
    if rate_hz < 2 * TO_HZ:
        raise ValueError(f"a rate of at least {2 * TO_HZ:.0f} Hz is needed to hold the tone")
    at_s = np.arange(round(LENGTH_S * rate_hz)) / rate_hz
    turns = FROM_HZ * at_s + (TO_HZ - FROM_HZ) * at_s**2 / (2 * LENGTH_S)
    edges = np.minimum(at_s, LENGTH_S - at_s) / FADE_S
    fade = np.sin(np.pi / 2 * np.clip(edges, 0, 1)) ** 2
    return fade * np.exp(2j * np.pi * (turns - 0.25))


def find_tones(samples: NDArray[Any], rate_hz: int) -> list[tuple[float, float]]:
    """Where the tone begins in a sound: (media_s, score between 0 and 1), in order.

    `samples`: int16 or float [n], sample k at media_s = k / rate_hz. Empty if there is no tone, or
    only one: the page plays one at each whole second. Reads the sound in blocks of some seconds:
    an hour takes a few megabytes beside the samples themselves.
    """
    found = list(_peaks(samples, rate_hz))
    at_s = np.array([one[0] for one in found])
    return [(media_s, score) for media_s, score in found if _has_company(at_s, media_s)]


def _has_company(at_s: Floats, media_s: float) -> bool:
    apart = at_s - media_s
    whole = np.round(apart / EVERY_S)
    near = (np.abs(whole) >= 1) & (np.abs(whole) <= IN_STEP_SECONDS)
    return bool(np.any(near & (np.abs(apart - whole * EVERY_S) <= IN_STEP_S)))


@dataclass(frozen=True)
class _Filter:
    """The matched filter and the tone's band, both for blocks of `BLOCK` samples."""

    length: int
    matched: NDArray[np.complex128]
    band: Floats

    @classmethod
    def of(cls, rate_hz: int) -> _Filter:
        sweep = _sweep(rate_hz)
        hz = np.abs(scipy.fft.fftfreq(BLOCK, 1 / rate_hz))
        edges = np.array([FROM_HZ - 200, FROM_HZ - 50, TO_HZ + 50, TO_HZ + 200])
        band = np.interp(hz, edges, [0.0, 1.0, 1.0, 0.0])
        matched = np.conj(scipy.fft.fft(sweep / np.sqrt(np.sum(np.real(sweep) ** 2)), BLOCK))
        return cls(len(sweep), matched, band)

    def scores(self, block: NDArray[Any]) -> Floats:
        """How much of the sound from each sample on is the tone; float64 [BLOCK - length]."""
        spectrum = scipy.fft.fft(block.astype(np.float64), BLOCK) * self.band
        arrivals = scipy.fft.ifft(spectrum * self.matched)[: BLOCK - self.length]
        power = np.real(scipy.fft.ifft(spectrum)) ** 2
        summed = np.concatenate([[0.0], np.cumsum(power)])
        energy = summed[self.length : BLOCK] - summed[: BLOCK - self.length]
        floor = 1e-9 * max(float(summed[-1]), 1e-12)
        scores: Floats = np.abs(arrivals) / np.sqrt(np.maximum(energy, floor))
        return scores


def _peaks(samples: NDArray[Any], rate_hz: int) -> Iterator[tuple[float, float]]:
    """Loudest arrivals with at least LEAST_SCORE, each at least half a second from the next."""
    filter_ = _Filter.of(rate_hz)
    step = BLOCK - 3 * filter_.length
    last_s = -np.inf
    for begin in range(0, len(samples), step):
        # One tone's length before and after, so that no arrival is cut by a block's edge.
        block = np.zeros(BLOCK)
        early = begin - filter_.length
        piece = samples[max(early, 0) : early + BLOCK]
        block[max(-early, 0) : max(-early, 0) + len(piece)] = piece
        scores = filter_.scores(block)
        tops, _ = scipy.signal.find_peaks(
            scores, height=LEAST_SCORE, distance=max(1, round(EVERY_S / 2 * rate_hz))
        )
        for top in tops:
            at = _first_arrival(scores, int(top), rate_hz)
            inside = filter_.length <= at < filter_.length + step
            media_s = (early + _between(scores, at)) / rate_hz
            if inside and media_s - last_s > EVERY_S / 2:
                last_s = media_s
                yield media_s, min(float(scores[at]), 1.0)


def _first_arrival(scores: Floats, top: int, rate_hz: int) -> int:
    begin = max(1, top - round(FIRST_ARRIVAL_S * rate_hz))
    before = scores[begin - 1 : top + 1]
    rising = (before[1:-1] >= before[:-2]) & (before[1:-1] >= before[2:])
    loud = before[1:-1] >= FIRST_ARRIVAL_SHARE * scores[top]
    earlier = np.flatnonzero(rising & loud)
    return begin + int(earlier[0]) if len(earlier) else top


def _between(scores: Floats, at: int) -> float:
    """The top of the parabola through three samples: a place between samples."""
    if not 0 < at < len(scores) - 1:
        return float(at)
    left, middle, right = scores[at - 1 : at + 2]
    bend = left - 2 * middle + right
    return at + (0.5 * float(left - right) / float(bend) if bend else 0.0)
