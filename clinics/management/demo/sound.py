"""What each camera of the demo hears: the start signal after its travel, splashes, the hall.

Everything is a function of true clinic time, evaluated at the true instants of a camera's samples.
So a camera with a wrong clock rate hears the signal stretched and displaced as a real one would,
to a fraction of a sample.
"""

from __future__ import annotations

import math
import wave
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

SAMPLES_PER_S = 48_000
HORN_S, WHISTLE_S = 0.35, 0.5
TONES_HZ = (740.0, 1110.0)
CHANGE_S = 0.14
"""The horn's second tone takes over from its first at this time after the onset."""
WHISTLE_HZ, TRILL_HZ = 2060.0, 34.0
ECHOES = ((0.031, 0.30), (0.053, 0.22), (0.089, 0.15), (0.144, 0.10))
"""Reflections of the hall: seconds after the direct sound, and strength beside it."""
HALL_NOISE = 0.006
SPLASH_S = 0.45
CALL_S = (0.12, 0.5)
CALL_HZ = (180.0, 1400.0)

Samples = NDArray[np.float64]


@dataclass(frozen=True)
class Heard:
    """A sound as it reaches one camera: when (clinic seconds) and how loud (full scale 1)."""

    arrival_s: float
    loudness: float


@dataclass(frozen=True)
class Signal:
    """A start signal: its length, and its sound at times since its onset (zero outside)."""

    name: str
    length_s: float
    at: Callable[[Samples], Samples]


def speed_of_sound_m_per_s(air_temperature_c: float) -> float:
    """Speed of sound in dry air: 331.3 sqrt(1 + T / 273.15), ideal gas.

    >>> round(speed_of_sound_m_per_s(20.0), 2)
    343.21
    """
    return 331.3 * math.sqrt(1 + air_temperature_c / 273.15)


def horn(since_onset_s: Samples) -> Samples:
    """An electronic horn of two tones, as emitted, at times since its onset."""
    first, second = (_tone(since_onset_s, hz) for hz in TONES_HZ)
    change = np.clip((since_onset_s - CHANGE_S) / 0.004 + 0.5, 0.0, 1.0)
    rise = np.clip(since_onset_s / 0.002, 0.0, 1.0)
    fall = np.clip((HORN_S - since_onset_s) / 0.03, 0.0, 1.0)
    return (first * (1 - change) + second * change) * rise * fall


def whistle(since_onset_s: Samples) -> Samples:
    """A pea whistle: a high trilled tone with breath in it."""
    trill = np.sin(2 * np.pi * TRILL_HZ * since_onset_s)
    turn = 2 * np.pi * WHISTLE_HZ * since_onset_s + 1.6 * trill
    times_s, breath = _breath()
    sound = np.sin(turn) * (0.68 + 0.32 * trill) + 0.25 * np.interp(since_onset_s, times_s, breath)
    rise = np.clip(since_onset_s / 0.004, 0.0, 1.0)
    fall = np.clip((WHISTLE_S - since_onset_s) / 0.05, 0.0, 1.0)
    return 0.8 * sound * rise * fall


@lru_cache(maxsize=1)
def _breath() -> tuple[Samples, Samples]:
    """The same noise in every whistle, between 1 and 5 kHz or so."""
    rng = np.random.default_rng(11)
    noise = lfilter([0.5, -0.5], [1, -0.7], rng.standard_normal(round(WHISTLE_S * 16_000)))
    return np.arange(len(noise)) / 16_000, noise / float(np.std(noise))


SIGNALS = {
    "horn": Signal("horn", HORN_S, horn),
    "whistle": Signal("whistle", WHISTLE_S, whistle),
}


def soundtrack(
    clinic_s: Samples,
    *,
    signal: Signal,
    starts: list[Heard],
    splashes: list[Heard],
    calls: list[Heard],
    rng: np.random.Generator,
) -> Samples:
    """What a microphone records at the true instants ``clinic_s`` of its samples."""
    track = _hall(len(clinic_s), rng)
    for start in starts:
        _add_signal(track, clinic_s, signal, start.arrival_s, start.loudness)
        for delay_s, strength in ECHOES:
            arrival_s = start.arrival_s + delay_s
            _add_signal(track, clinic_s, signal, arrival_s, start.loudness * strength)
    for splash in splashes:
        _add_burst(track, clinic_s, splash, rng)
    for number, call in enumerate(calls):
        _add_call(track, clinic_s, call, number)
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


def _add_signal(
    track: Samples, clinic_s: Samples, signal: Signal, onset_s: float, loudness: float
) -> None:
    span = _span(clinic_s, onset_s, signal.length_s)
    track[span] += loudness * signal.at(clinic_s[span] - onset_s)


def _add_call(track: Samples, clinic_s: Samples, call: Heard, number: int) -> None:
    """A voice, another whistle, a knock: the same one for all cameras, by its number."""
    rng = np.random.default_rng([23, number])
    length_s = rng.uniform(*CALL_S)
    hz = CALL_HZ[0] * (CALL_HZ[1] / CALL_HZ[0]) ** rng.uniform()
    span = _span(clinic_s, call.arrival_s, length_s)
    since_s = clinic_s[span] - call.arrival_s
    bend = 1 + 0.06 * np.sin(2 * np.pi * 4.7 * since_s)
    envelope = np.sin(np.pi * np.clip(since_s / length_s, 0, 1)) ** 2
    track[span] += call.loudness * envelope * _tone(since_s * bend, hz)


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
