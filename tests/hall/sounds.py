"""What can be heard in the simulated hall, as functions of continuous time.

A sound is evaluated where a camera's samples fall, so its delay and the camera's rate are exact
to the floating point; nothing is delayed by whole samples. Noise comes from a bank sampled at
four times the hall's rate, band-limited to 3.6 kHz, between whose samples a straight line is
good to 1.5 % of the amplitude and symmetric in time.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, sosfiltfilt

Samples = NDArray[np.float64]
BANK_HZ = 32000
BANK_S = 12.0
BANDS_HZ = ((150, 900), (300, 2000), (600, 3600), (150, 3600), (1200, 3600))
"""A thud, a push-off, a splash, a bang with everything in it, a hiss."""
BURST_SPREAD = 0.8  # of the logarithm of the loudness
TONAL_SHARE = 0.3


@dataclass(frozen=True)
class Sound:
    """`at(tau_s)` is the pressure at 1 m, `tau_s` seconds after it began; silent outside."""

    length_s: float
    at: Callable[[Samples], Samples]


def _envelope(tau_s: Samples, length_s: float, attack_s: float, release_s: float) -> Samples:
    """From 0 up within `attack_s`, down within `release_s`, smooth at both ends."""
    up = np.clip(tau_s / attack_s, 0.0, 1.0)
    down = np.clip((length_s - tau_s) / release_s, 0.0, 1.0)
    return 0.25 * (1 - np.cos(np.pi * up)) * (1 - np.cos(np.pi * down))


# --- the start signal ----------------------------------------------------------------------

SIGNALS = ("tone", "two tones", "whistle")


def start_signal(rng: np.random.Generator) -> tuple[str, Sound]:
    """An unknown start signal with peak 1: a tone, two tones, or a trilled noisy whistle."""
    kind = SIGNALS[int(rng.integers(len(SIGNALS)))]
    length_s = float(rng.uniform(0.2, 0.6))
    attack_s = float(rng.uniform(0.003, 0.010))
    release_s = float(rng.uniform(0.015, 0.040))
    hz = float(rng.uniform(500.0, 2500.0))
    if kind == "whistle":
        carrier = _whistle(rng, hz)
    else:
        tones = [(hz, 1.0)]
        if kind == "two tones":
            tones.append((float(rng.uniform(500.0, 2500.0)), float(rng.uniform(0.5, 1.0))))
        tones += [(2 * tone_hz, 0.15 * part) for tone_hz, part in tones if 2 * tone_hz < 3600]
        carrier = _tones(tones)

    def shape(tau_s: Samples) -> Samples:
        return carrier(tau_s) * _envelope(tau_s, length_s, attack_s, release_s)

    peak = float(np.abs(shape(np.arange(0.0, length_s, 1 / BANK_HZ))).max())
    return kind, Sound(length_s, lambda tau_s: shape(tau_s) / peak)


def _tones(tones: list[tuple[float, float]]) -> Callable[[Samples], Samples]:
    def carrier(tau_s: Samples) -> Samples:
        heard = np.zeros_like(tau_s)
        for hz, part in tones:
            heard += part * np.sin(2 * np.pi * hz * tau_s)
        return heard

    return carrier


def _whistle(rng: np.random.Generator, hz: float) -> Callable[[Samples], Samples]:
    """A pea whistle: pitch and loudness trill together, with breath around the pitch."""
    trill_hz, swing_hz = rng.uniform(20.0, 45.0), rng.uniform(20.0, 60.0)
    depth, phase = rng.uniform(0.3, 0.8), rng.uniform(0, 2 * np.pi)
    breath_hz = rng.normal(hz, 0.15 * hz, 48).clip(200.0, 3600.0)
    breath_phase = rng.uniform(0, 2 * np.pi, 48)

    def carrier(tau_s: Samples) -> Samples:
        turn = 2 * np.pi * trill_hz * tau_s + phase
        pitch = 2 * np.pi * hz * tau_s - swing_hz / trill_hz * np.cos(turn)
        breath = np.sin(2 * np.pi * np.outer(breath_hz, tau_s) + breath_phase[:, None]).sum(axis=0)
        return (1 + depth * np.sin(turn)) * (np.sin(pitch) + breath * (0.5 / np.sqrt(48)))

    return carrier


# --- everything else -----------------------------------------------------------------------


def noise_banks(rng: np.random.Generator) -> list[NDArray[np.float32]]:
    """One stretch of noise per band, peak about 1 (three standard deviations)."""
    banks = []
    for low_hz, high_hz in BANDS_HZ:
        sos = butter(4, (low_hz, high_hz), btype="bandpass", fs=BANK_HZ, output="sos")
        noise = sosfiltfilt(sos, rng.standard_normal(int(BANK_S * BANK_HZ)))
        banks.append((noise / (3 * noise.std())).astype(np.float32))
    return banks


def burst(rng: np.random.Generator, banks: list[NDArray[np.float32]]) -> Sound:
    """A splash, bang or call that means nothing, peak about 1."""
    return _tonal(rng) if rng.random() < TONAL_SHARE else _noise(rng, banks)


def _noise(rng: np.random.Generator, banks: list[NDArray[np.float32]]) -> Sound:
    length_s = float(rng.uniform(0.05, 0.5))
    attack_s, fall_s = rng.uniform(0.002, 0.03), length_s / rng.uniform(3.0, 6.0)
    bank = banks[int(rng.integers(len(banks)))]
    first = rng.uniform(0, bank.size - BANK_HZ * (length_s + 0.01))

    def at(tau_s: Samples) -> Samples:
        place = first + tau_s * BANK_HZ
        whole = place.astype(np.int64)
        part = place - whole
        sound = bank[whole] * (1 - part) + bank[whole + 1] * part
        return sound * np.minimum(1.0, tau_s / attack_s) * np.exp(-tau_s / fall_s)

    return Sound(length_s, at)


def _tonal(rng: np.random.Generator) -> Sound:
    """Half of them whistles and beeps of others, half voices: harmonics that glide."""
    length_s = float(rng.uniform(0.1, 0.7))
    attack_s, release_s = float(rng.uniform(0.005, 0.05)), float(rng.uniform(0.02, 0.1))
    if rng.random() < 0.5:
        pitch_hz, glide_hz_per_s = rng.uniform(400.0, 3000.0), rng.normal(0.0, 60.0)
        parts = np.array([1.0, rng.uniform(0.0, 0.3)])
    else:
        pitch_hz, glide_hz_per_s = rng.uniform(120.0, 450.0), rng.normal(0.0, 150.0)
        parts = rng.uniform(0.2, 1.0, 8) / np.arange(1, 9) ** 0.7
    parts = np.where((np.arange(parts.size) + 1) * pitch_hz < 3600, parts, 0.0)
    parts = parts / parts.sum()

    def at(tau_s: Samples) -> Samples:
        turns = pitch_hz * tau_s + 0.5 * glide_hz_per_s * tau_s**2
        heard = np.zeros_like(tau_s)
        for number, part in enumerate(parts, start=1):
            if part > 0:
                heard += part * np.sin(2 * np.pi * number * turns)
        return heard * _envelope(tau_s, length_s, attack_s, release_s)

    return Sound(length_s, at)
