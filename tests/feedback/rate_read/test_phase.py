"""The rate from the phase of a whole stretch: phases are imposed, and what is told is theirs."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from feedback.compute.rate_read.film import Float32
from feedback.compute.rate_read.phase import rate_by_phase
from feedback.compute.rate_read.read import read_rate
from feedback.compute.rate_read.result import Sure, Why
from feedback.compute.rate_read.rhythm import PER_S
from tests.feedback.rate_read.drawn import any_scene, draw, turns_at

RATE, SECONDS, CELLS = 44.0, 10.0, 80


def lit(turns: NDArray[np.float64], noise: float, rng: np.random.Generator) -> Float32:
    """Cells each with a pattern of its own that comes again once a turn."""
    values = rng.normal(0, noise, (len(turns), CELLS))
    for order in (1, 2, 3):
        begin, size = rng.uniform(0, 1, CELLS), rng.uniform(0, 1, CELLS) / order
        values += size * np.sin(2 * np.pi * (order * turns[:, None] + begin))
    return values.astype(np.float32)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("wrong", [0.96, 1.0, 1.04])
def test_uneven_strokes_are_told_by_their_own_phase(seed: int, wrong: float) -> None:
    """Begun 4 % wrong, under noise as strong as the strokes."""
    rng = np.random.default_rng(seed)
    at_s = np.arange(0, SECONDS, 1 / PER_S)
    turns = turns_at(at_s, RATE, 0.04, rng)
    true = float(np.polyfit(at_s, turns, 1)[0]) * 60
    told = rate_by_phase(lit(turns, 0.6, rng), RATE * wrong)
    assert told == pytest.approx(true, rel=0.006)


def test_uneven_strokes_are_not_told_too_quick() -> None:
    """Between the ends, over many: the lag of what is most alike comes out short, this does not."""
    off = []
    at_s = np.arange(0, SECONDS, 1 / PER_S)
    for seed in range(30):
        rng = np.random.default_rng([9, seed])
        turns = turns_at(at_s, RATE, 0.04, rng)
        true = 60 * (turns[-1] - turns[0]) / at_s[-1]
        off.append(rate_by_phase(lit(turns, 0.6, rng), RATE) / true - 1)
    assert abs(np.mean(off)) < 0.003
    assert np.std(off) < 0.011  # 0.04 * sqrt(1 / 5 / 7.3 cycles) is 0.0066 of the line alone


def test_cells_that_do_nothing_leave_the_rate_as_it_was() -> None:
    assert rate_by_phase(np.zeros((200, 30), dtype=np.float32), RATE) == pytest.approx(RATE)


@pytest.mark.parametrize(("seed", "why"), [(5091, Why.NOTHING), (5034, Why.TWO_FIT)])
def test_what_would_be_wrong_is_not_told(seed: int, why: Why) -> None:
    """A faint rhythm of four cycles, a quarter too quick; and arms alike, where half the rate is
    a slow swimmer's: twice the real one."""
    scene = any_scene(seed)
    drawn = draw(scene)
    reading = read_rate(drawn.film, scene.stroke, drawn.box)
    assert (reading.sure, reading.why) == (Sure.NOT_FOUND, why)
