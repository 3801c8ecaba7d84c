"""Two soundtracks against each other: imposed shifts come back, unrelated ones give nothing.

References: scipy.signal.correlate for the shift of a sound heard alike by both.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal, stats

from clinics.compute.correlate import LEAST_U_S, shift_between
from tests.hall.hall import Hall, make_hall

RATE_HZ = 8000
Samples = NDArray[np.int16]


def clatter(seed: int, length_s: float, *, hiss: float = 60.0) -> Samples:
    """Two bursts a second in noise: what a hall sounds like without its start signals."""
    rng = np.random.default_rng(seed)
    sound = rng.standard_normal(int(length_s * RATE_HZ)) * hiss
    fading = np.exp(-np.arange(2400) / 500)
    for begin in rng.integers(0, len(sound) - 2400, int(2 * length_s)):
        sound[begin : begin + 2400] += rng.standard_normal(2400) * fading * rng.lognormal(6.5, 0.6)
    return np.clip(sound, -32000, 32000).astype(np.int16)


def with_hiss(samples: Samples, seed: int) -> Samples:
    hiss = np.random.default_rng(seed).standard_normal(len(samples)) * 60
    return (samples / 2 + hiss).astype(np.int16)


@pytest.mark.parametrize("shift_s", [0.137, 31.5003, -47.77])
def test_an_imposed_shift_comes_back(shift_s: float) -> None:
    """The other recording began later (its sounds come earlier) or earlier, and overlaps in part.

    One sample is 0.125 ms; the reference is scipy's plain correlation of the same samples.
    """
    hall = clatter(1, 260)
    by = round(abs(shift_s) * RATE_HZ)
    early, late = with_hiss(hall[: 200 * RATE_HZ], 2), with_hiss(hall[by : by + 200 * RATE_HZ], 3)
    one, other = (late, early) if shift_s > 0 else (early, late)
    found = shift_between(one, other, RATE_HZ)
    assert found is not None
    around = signal.correlate(other.astype(float), one.astype(float), method="fft")
    reference = signal.correlation_lags(len(other), len(one))[np.argmax(around)] / RATE_HZ
    assert reference == pytest.approx(np.sign(shift_s) * by / RATE_HZ, abs=1e-9)
    assert found.shift_s == pytest.approx(reference, abs=0.0005)
    assert found.u_s == pytest.approx(LEAST_U_S, abs=0.01)
    assert found.windows_agreeing == found.windows >= 12
    assert abs(found.rate_ppm) < 5


def test_clocks_that_run_apart_give_the_shift_where_it_is_said() -> None:
    """150 ppm over five minutes are 45 ms; the shift at `at_s` is the line's, by theil-sen."""
    hall = clatter(4, 320).astype(float)
    instants = np.arange(300 * RATE_HZ) * (1 + 150e-6) + 3 * RATE_HZ
    other = np.interp(instants, np.arange(len(hall)), hall).astype(np.int16)
    found = shift_between(with_hiss(hall[: 310 * RATE_HZ], 5), other, RATE_HZ)
    assert found is not None
    true_s = (found.at_s - 3.0) / (1 + 150e-6) - found.at_s
    assert found.shift_s == pytest.approx(true_s, abs=0.002)
    assert found.rate_ppm == pytest.approx(-150, abs=10)


@pytest.fixture(scope="module")
def halls() -> list[Hall]:
    return [make_hall(seed, minutes=5.0, starts=6) for seed in (31, 32, 33)]


def test_the_stated_uncertainty_holds_in_simulated_halls(halls: list[Hall]) -> None:
    """Cameras 25 and 50 m apart: the truth lies within twice the stated uncertainty."""
    errors = []
    for hall in halls:
        for one, other in zip(hall.recordings, hall.recordings[1:], strict=False):
            found = shift_between(one.samples, other.samples, one.rate_hz)
            assert found is not None
            true_s = other.media_s(one.instant_s(found.at_s)) - found.at_s
            errors.append(abs(found.shift_s - true_s) / found.u_s)
    assert max(errors) < 2.0
    assert stats.describe(errors).mean > 0.01  # the halls are no copies of each other


def test_other_occasions_and_other_parts_give_nothing(halls: list[Hall]) -> None:
    """100 pairs that share no instant: other halls, and other parts of the same hall."""
    rng = np.random.default_rng(7)
    wrong = 0
    for number in range(100):
        here, there = rng.choice(3, 2, replace=False)
        one = halls[here].recordings[rng.integers(3)].samples
        if number % 4 == 0:  # earlier and later in the same hall, 60 s apart
            other = halls[here].recordings[rng.integers(3)].samples
            one, other = one[: 100 * RATE_HZ], other[200 * RATE_HZ :]
        else:
            other = halls[there].recordings[rng.integers(3)].samples
            one = one[: int(rng.uniform(60, 200) * RATE_HZ)]
        wrong += shift_between(one, other, RATE_HZ) is not None
    assert wrong <= 1


def test_silence_and_a_short_overlap_give_nothing() -> None:
    hall = clatter(8, 120)
    assert shift_between(np.zeros_like(hall), hall, RATE_HZ) is None
    assert shift_between(hall, np.zeros(0, dtype=np.int16), RATE_HZ) is None
    assert shift_between(hall[: 15 * RATE_HZ], hall, RATE_HZ) is None


def test_a_sound_that_comes_twice_is_not_guessed() -> None:
    """The same two minutes played twice fit at two places: neither is said."""
    hall = clatter(9, 120)
    assert shift_between(hall, np.concatenate([hall, hall]), RATE_HZ) is None


def test_shifts_beyond_the_limit_are_not_looked_for() -> None:
    hall = clatter(10, 200)
    later = with_hiss(hall[50 * RATE_HZ :], 11)
    assert shift_between(hall, later, RATE_HZ, max_shift_s=30) is None
    found = shift_between(hall, later, RATE_HZ, max_shift_s=60)
    assert found is not None and found.shift_s == pytest.approx(-50, abs=0.001)
