"""How many differences of two lists come together: against counting them one by one."""

from __future__ import annotations

import math

import numpy as np
import pytest

from clinics.compute.starts.matching import _most, _rates_ppm


def counted(own: list[float], theirs: list[float], within_s: float, limit_ppm: float) -> int:
    """Plainly and slowly: every difference as the first of those within twice `within_s`."""
    middle, most = float(np.median(own)), 0
    for rate_ppm in _rates_ppm(np.array(own), within_s, 0.0, limit_ppm):
        told = [one + (one - middle) * rate_ppm * 1e-6 for one in own]
        lags = sorted(there - one for there in theirs for one in told)
        for n, first in enumerate(lags):
            most = max(most, sum(lag <= first + 2 * within_s for lag in lags[n:]))
    return most


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("within_s", [0.0015, 0.3])
def test_the_most_that_come_together(seed: int, within_s: float) -> None:
    """Instants of a day, as the start log has them, and media seconds; some of them belong."""
    rng = np.random.default_rng(seed)
    own = np.sort(rng.uniform(0, 1800, 16))
    theirs = np.sort(np.concatenate([41_000 + own[:7] * (1 + 40e-6), rng.uniform(40e3, 42e3, 8)]))
    found = _most(own, theirs, within_s, 0.0, 60.0, -math.inf, math.inf)
    assert found == counted(list(own), list(theirs), within_s, 60.0)
    assert found >= 7


def test_only_where_the_zero_may_lie() -> None:
    own, theirs = np.array([0.0, 10.0, 25.0]), np.array([100.0, 110.0, 125.0])
    assert _most(own, theirs, 0.01, 0.0, 0.0, 99.0, 101.0) == 3
    assert _most(own, theirs, 0.01, 0.0, 0.0, 101.0, 130.0) == 1
    assert _most(own, theirs, 0.01, 0.0, 0.0, 200.0, 300.0) == 0
