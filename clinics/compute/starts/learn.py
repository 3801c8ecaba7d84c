"""Learning the sound of the start signal: from places where it should be, or from what recurs.

Snippets around those places are laid over each other where they fit best; the one that is most
like the others leads, those that agree with it are averaged. What they share is the signal; hall
noise, voices and splashes differ from start to start and fade.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from clinics.compute.starts.arrivals import best_fit
from clinics.compute.starts.comb import HOP
from clinics.compute.starts.whiten import Float32, Samples, whiten

Float64 = NDArray[np.float64]
AGREES = 0.5  # correlation coefficient with the one that leads
LEAST_AGREEING = 3
LEAD_S, LENGTH_S = 0.06, 0.75  # what is kept of the average: before its onset, and in all
ATTACK_BEFORE_S, ATTACK_AFTER_S = LEAD_S, 0.04
MARGIN_S = 0.02  # more than half a whitening filter
QUIET = 0.25  # of the signal's own level: before the onset it is lower
MOST_SNIPPETS = 120


@dataclass(frozen=True)
class Learned:
    """`sound`: float32, as the camera heard it, with `margin` samples more at both ends than the
    template of `length` samples has; the onset stands `lead` samples after the template's
    begin. `agreeing` of `of` snippets were averaged; `alike`: their mean correlation. `hz`:
    its strongest pitch. `at_s`: the onsets of the snippets in media seconds."""

    sound: Float32
    rate_hz: int
    margin: int
    lead: int
    length: int
    agreeing: int
    of: int
    alike: float
    hz: float
    at_s: Float64

    def template(self, taps: Float64) -> Float32:
        """As a soundtrack has it that is whitened by `taps`."""
        whitened = whiten(self.sound, taps)
        return whitened[self.margin : self.margin + self.length]

    def attack(self, taps: Float64) -> tuple[Float32, int]:
        """The template's first part, by which arrivals are timed, and its onset's sample."""
        whole = self.template(taps)
        return whole[: self.lead + round(ATTACK_AFTER_S * self.rate_hz)], self.lead


def learn_at(
    track: Float32,
    samples: Samples,
    rate_hz: int,
    places_s: Sequence[float],
    *,
    reach_s: float,
    hz: float | None,
) -> Learned | None:
    """From places that are right within `reach_s`; None if too few snippets agree.

    `hz`: where the signal is known to be loud; its loudest moment there begins the search.
    """
    centres = []
    length = round(LENGTH_S * rate_hz)
    for place in places_s:
        low = max(round((place - reach_s) * rate_hz), 0)
        high = min(round((place + reach_s) * rate_hz) + length // 2, len(track))
        if high - low < length:
            continue
        centres.append(low + _loudest(track[low:high], rate_hz, hz))
    return _agree(track, samples, rate_hz, np.array(centres, dtype=np.int64))


def learn_around(
    track: Float32, samples: Samples, rate_hz: int, onsets_s: Sequence[float]
) -> Learned | None:
    """From onsets that are known within some 30 ms."""
    middle = round(0.2 * rate_hz)
    centres = np.array([round(onset * rate_hz) + middle for onset in onsets_s], dtype=np.int64)
    return _agree(track, samples, rate_hz, centres)


def learn_recurring(
    track: Float32, samples: Samples, levels: Float32, rate_hz: int, *, most: int = MOST_SNIPPETS
) -> Learned | None:
    """From what sounds alike again and again, at any time: needs no start log.

    `levels` are of comb.loudness_in_bands.
    """
    tone = scipy.ndimage.uniform_filter1d(np.sort(levels, axis=1)[:, -4:].sum(axis=1), 7)
    apart = max(round(1.0 * rate_hz / HOP), 1)
    peaks, _facts = scipy.signal.find_peaks(tone, distance=apart)
    if len(peaks) < LEAST_AGREEING:
        return None
    chosen = np.sort(peaks[np.argsort(tone[peaks])[::-1][:most]])
    return _agree(track, samples, rate_hz, chosen * HOP + HOP)


def _loudest(piece: Float32, rate_hz: int, hz: float | None) -> int:
    """Middle of the loudest 0.2 s, near that pitch if one is given."""
    if hz is not None:
        half = 150.0
        low, high = max(hz - half, 60.0), min(hz + half, 0.49 * rate_hz)
        sections = scipy.signal.butter(2, [low, high], "bandpass", fs=rate_hz, output="sos")
        piece = scipy.signal.sosfiltfilt(sections, piece).astype(np.float32)
    power = scipy.ndimage.uniform_filter1d(
        piece.astype(np.float64) ** 2, max(round(0.2 * rate_hz), 1)
    )
    return int(np.argmax(power))


def _agree(
    track: Float32, samples: Samples, rate_hz: int, centres: NDArray[np.int64]
) -> Learned | None:
    if len(centres) < LEAST_AGREEING:
        return None
    half = round(0.5 * rate_hz)
    centres = centres[(centres >= 2 * half) & (centres < len(track) - 4 * half)]
    if len(centres) < LEAST_AGREEING:
        return None
    snippets = np.stack([track[c - half : c + half] for c in centres])
    snippets /= np.maximum(np.linalg.norm(snippets, axis=1, keepdims=True), 1e-12)
    size = scipy.fft.next_fast_len(4 * half)
    spectra = scipy.fft.rfft(snippets, size, axis=1)
    alike = np.zeros((len(centres), len(centres)))
    lag = np.zeros_like(alike)
    for i in range(len(centres)):
        across = scipy.fft.irfft(spectra * np.conj(spectra[i]), size, axis=1)
        at = np.argmax(np.abs(across), axis=1)
        alike[i] = np.abs(across[np.arange(len(centres)), at])
        lag[i] = np.where(at < size // 2, at, at - size)
    np.fill_diagonal(alike, 0.0)
    leader = int(np.argmax(np.sum(np.where(alike > AGREES, alike, 0.0), axis=1)))
    with_it = np.flatnonzero(alike[leader] > AGREES)
    if len(with_it) + 1 < LEAST_AGREEING:
        return None
    members = np.concatenate([[leader], with_it])
    begins = centres[members] + lag[leader][members].astype(np.int64) - half
    return _average(
        track, samples, rate_hz, begins, len(centres), float(alike[leader][with_it].mean())
    )


def _average(
    track: Float32, samples: Samples, rate_hz: int, begins: NDArray[np.int64], of: int, alike: float
) -> Learned | None:
    """Lay the snippets over each other by their attack, which echoes blur least; average them."""
    before, length = round(0.25 * rate_hz), round((LENGTH_S + 0.5) * rate_hz)
    begins = begins[(begins >= 2 * before) & (begins + length + before < len(track))]
    if len(begins) < LEAST_AGREEING:
        return None
    places = begins.astype(np.float64)
    mean = _mean(track, track, places - before, before + length)
    onset, _end = _ends(mean, rate_hz)
    places += onset - before
    for reach_s in (0.06, 0.03, 0.01):
        places = _laid_by_attack(track, rate_hz, places, round(reach_s * rate_hz))
    mean = _mean(track, track, places - before, before + length)
    onset, end = _ends(mean, rate_hz)
    lead = min(round(LEAD_S * rate_hz), onset)
    raw = _mean(track, samples, places - before, before + length)
    margin = min(round(MARGIN_S * rate_hz), onset - lead)
    sound = raw[onset - lead - margin : end + margin].astype(np.float32)
    power = np.abs(scipy.fft.rfft(mean[onset:end], 8192)) ** 2
    hz = float(np.argmax(power)) * rate_hz / 8192
    at_s = np.sort((places - before + onset) / rate_hz)
    return Learned(
        sound, rate_hz, margin, lead, end - onset + lead, len(places), of, alike, hz, at_s
    )


def _piece(samples: Samples, begin: float, length: int) -> Float64:
    """`length` samples from a place between samples on, by a phase shift."""
    whole = int(np.floor(begin))
    piece = np.asarray(samples[whole : whole + length + 1], dtype=np.float64)
    part = begin - whole
    if part < 1e-6:
        return piece[:length]
    size = scipy.fft.next_fast_len(len(piece))
    turn = np.exp(2j * np.pi * scipy.fft.rfftfreq(size) * part)
    return np.asarray(scipy.fft.irfft(scipy.fft.rfft(piece, size) * turn, size)[:length])


def _mean(track: Float32, samples: Samples, begins: Float64, length: int) -> Float64:
    """Average of pieces of `samples`, each as loud and signed so that those of `track` agree."""
    leader = _piece(track, float(begins[0]), length)
    total = np.zeros(length)
    for begin in begins:
        own = _piece(track, float(begin), length)
        sign = 1.0 if own @ leader >= 0 else -1.0
        total += (
            sign * _piece(samples, float(begin), length) / max(float(np.linalg.norm(own)), 1e-12)
        )
    return total / len(begins)


def _laid_by_attack(track: Float32, rate_hz: int, onsets: Float64, reach: int) -> Float64:
    """Onsets moved to where each attack fits the leader's (the first's), then the average's."""
    before, after = round(ATTACK_BEFORE_S * rate_hz), round(ATTACK_AFTER_S * rate_hz)
    attack = _piece(track, float(onsets[0]) - before, before + after)
    moved = onsets.copy()
    for _ in range(2):
        total = np.zeros(before + after)
        for n, onset in enumerate(onsets):
            low = int(onset) - before - reach
            piece = track[low : low + before + after + 2 * reach].astype(np.float64)
            lag, value = best_fit(piece, attack)
            moved[n] = low + lag + before
            laid = _piece(track, float(moved[n]) - before, before + after)
            total += np.sign(value) * laid / max(float(np.linalg.norm(laid)), 1e-12)
        attack = total
    return moved


def _ends(mean: Float64, rate_hz: int) -> tuple[int, int]:
    """Onset and end of the signal in an average: where its level rises out of what is before."""
    level = np.sqrt(scipy.ndimage.uniform_filter1d(mean**2, max(round(0.004 * rate_hz), 1)))
    top = float(np.percentile(level, 97))
    peak = int(np.argmax(scipy.ndimage.uniform_filter1d(level, max(round(0.1 * rate_hz), 1))))
    floor = float(np.percentile(level, 10))
    threshold = floor + QUIET * (top - floor)
    loud = scipy.ndimage.uniform_filter1d(level, max(round(0.012 * rate_hz), 1)) > threshold
    first = peak
    gap, quiet = 0, round(0.06 * rate_hz)  # a trill has gaps; the signal goes on over them
    for sample in range(peak, -1, -1):
        gap = 0 if loud[sample] else gap + 1
        if loud[sample]:
            first = sample
        if gap > quiet:
            break
    last, gap = peak, 0
    for sample in range(peak, len(mean)):
        gap = 0 if loud[sample] else gap + 1
        if loud[sample]:
            last = sample
        if gap > quiet:
            break
    last = min(last + 1, first + round(LENGTH_S * rate_hz))
    return first, max(last, first + round(0.08 * rate_hz))
