"""What each camera of the demo hears: the start signal after its travel, splashes, the hall.

Everything is a function of true clinic time, evaluated at the true instants of a camera's samples.
So a camera with a wrong clock rate hears the signal stretched and displaced as a real one would,
to a fraction of a sample.
"""

from __future__ import annotations

import math
import wave
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

SAMPLES_PER_S = 48_000
SIGNAL_S = 0.35
TONES_HZ = (740.0, 1110.0)
CHANGE_S = 0.14
"""The horn's second tone takes over from its first at this time after the onset."""
ECHOES = ((0.031, 0.30), (0.053, 0.22), (0.089, 0.15), (0.144, 0.10))
"""Reflections of the hall: seconds after the direct sound, and strength beside it."""
HALL_NOISE = 0.006
SPLASH_S = 0.45

Samples = NDArray[np.float64]


@dataclass(frozen=True)
class Heard:
    """A sound as it reaches one camera: when (clinic seconds) and how loud (full scale 1)."""

    arrival_s: float
    loudness: float


def speed_of_sound_m_per_s(air_temperature_c: float) -> float:
    """Speed of sound in dry air: 331.3 sqrt(1 + T / 273.15), ideal gas.

    >>> round(speed_of_sound_m_per_s(20.0), 2)
    343.21
    """
    return 331.3 * math.sqrt(1 + air_temperature_c / 273.15)


def horn(since_onset_s: Samples) -> Samples:
    """The start signal, as emitted, at times since its onset; zero outside its length."""
    first, second = (_tone(since_onset_s, hz) for hz in TONES_HZ)
    change = np.clip((since_onset_s - CHANGE_S) / 0.004 + 0.5, 0.0, 1.0)
    rise = np.clip(since_onset_s / 0.002, 0.0, 1.0)
    fall = np.clip((SIGNAL_S - since_onset_s) / 0.03, 0.0, 1.0)
    return (first * (1 - change) + second * change) * rise * fall


def soundtrack(
    clinic_s: Samples,
    *,
    signals: list[Heard],
    splashes: list[Heard],
    rng: np.random.Generator,
) -> Samples:
    """What a microphone records at the true instants ``clinic_s`` of its samples."""
    track = _hall(len(clinic_s), rng)
    for signal in signals:
        _add_horn(track, clinic_s, signal.arrival_s, signal.loudness)
        for delay_s, strength in ECHOES:
            _add_horn(track, clinic_s, signal.arrival_s + delay_s, signal.loudness * strength)
    for splash in splashes:
        _add_burst(track, clinic_s, splash, rng)
    return np.clip(track, -0.98, 0.98)


def write_wav(path: Path, track: Samples) -> None:
    """Write one channel of 16-bit samples."""
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(SAMPLES_PER_S)
        file.writeframes(np.rint(track * 32767).astype("<i2").tobytes())


def _tone(since_onset_s: Samples, hz: float) -> Samples:
    turn = 2 * np.pi * hz * since_onset_s
    return 0.7 * np.sin(turn) + 0.22 * np.sin(2 * turn) + 0.08 * np.sin(3 * turn)


def _span(clinic_s: Samples, begin_s: float, length_s: float) -> slice:
    first, end = np.searchsorted(clinic_s, (begin_s, begin_s + length_s))
    return slice(int(first), int(end))


def _add_horn(track: Samples, clinic_s: Samples, onset_s: float, loudness: float) -> None:
    span = _span(clinic_s, onset_s, SIGNAL_S)
    track[span] += loudness * horn(clinic_s[span] - onset_s)


def _add_burst(track: Samples, clinic_s: Samples, splash: Heard, rng: np.random.Generator) -> None:
    span = _span(clinic_s, splash.arrival_s, SPLASH_S)
    since_s = clinic_s[span] - splash.arrival_s
    envelope = np.clip(since_s / 0.02, 0, 1) * np.exp(-since_s / 0.12)
    noise = lfilter([0.35], [1, -0.65], rng.standard_normal(len(since_s)))
    track[span] += splash.loudness * envelope * noise


def _hall(samples: int, rng: np.random.Generator) -> Samples:
    """Ventilation and water: soft noise, heavier below, that swells slowly."""
    noise = lfilter([0.06], [1, -0.94], rng.standard_normal(samples))
    swell = 1 + 0.3 * np.sin(2 * np.pi * np.arange(samples) / SAMPLES_PER_S / 7.3)
    return HALL_NOISE * swell * noise / max(float(np.std(noise)), 1e-12)
