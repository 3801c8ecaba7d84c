"""The middle of a group and its middle half, and where they stand in a picture."""

from __future__ import annotations

import random
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from feedback.compute.measuring import rows
from feedback.compute.measuring.spread import (
    LEAST,
    PARTS_OF_MIDDLE_HALF,
    Side,
    Spread,
    of_one_person,
    side,
    spread,
)
from feedback.compute.measuring.uncertain import Quantity, Shape, Source

times = st.lists(st.floats(3.0, 30.0), min_size=LEAST, max_size=40)


def off(value: float, half: float, key: str = "a") -> Quantity:
    """With a ± of 95 of 100 cases."""
    return Quantity(value, {Source(key, Shape.BELL, half / 1.959964): 1.0})


def of(values: list[float], half: float = 0.02) -> Spread:
    found = spread([off(value, half, str(n)) for n, value in enumerate(values)])
    assert found is not None
    return found


@pytest.mark.parametrize("count", range(LEAST))
def test_fewer_than_five_show_nothing(count: int) -> None:
    assert spread([Quantity(7.0 + n) for n in range(count)]) is None


@given(times)
def test_figures_are_those_of_numpy_to_half_a_step(values: list[float]) -> None:
    """numpy.percentile's "linear" is definition 7 of Hyndman and Fan (numpy's documentation)."""
    found = of(values)
    told = np.percentile(values, [25, 50, 75])
    for figure, at in zip((found.low, found.middle, found.high), told, strict=True):
        assert abs(figure - at) <= found.step / 2 + 1e-9
    assert found.low <= found.middle <= found.high


@given(times)
def test_rounding_is_as_wide_as_the_half_width_and_a_fifth_of_the_middle_half(
    values: list[float],
) -> None:
    found = of(values, half=0.07)
    low, high = np.percentile(values, [25, 75])
    assert found.step >= 0.07 - 1e-6
    assert found.step >= (high - low) / PARTS_OF_MIDDLE_HALF - 1e-9
    assert round(found.low, found.decimals) == pytest.approx(found.low)


@given(times, st.floats(0.0, 1000.0))
def test_the_lowest_and_the_highest_enter_no_figure(values: list[float], farther: float) -> None:
    ordered = sorted(values)
    stretched = [ordered[0] - farther, *ordered[1:-1], ordered[-1] + farther]
    assert of(ordered) == of(stretched)


def test_no_figure_is_below_the_second_or_above_the_last_but_one() -> None:
    random.seed(7)
    for _ in range(200):
        values = sorted(random.uniform(5, 9) for _n in range(random.randint(5, 12)))
        found = of(values)
        assert found.low >= values[1] - found.step / 2 - 1e-9
        assert found.high <= values[-2] + found.step / 2 + 1e-9


def test_three_figures_of_five_leave_each_of_them_open_by_a_step() -> None:
    """From what is shown nobody's value follows more nearly than to the step: each of five
    values may be moved by a quarter of it without a figure changing, for some groups."""
    values = [7.02, 7.41, 7.63, 7.98, 8.4]
    found = of(values)
    assert found.step == 0.2
    for n in range(len(values)):
        moved = [value + (0.05 if k == n else 0.0) for k, value in enumerate(values)]
        assert of(moved).middle == found.middle


def test_leaving_one_of_six_out_never_shows_the_extreme() -> None:
    """Two people who lay their pages beside each other see groups that differ by one."""
    values = [5.0, 7.1, 7.3, 7.6, 7.9, 12.0]
    for group in combinations(values, 5):
        found = of(list(group))
        inner = sorted(group)[1:-1]
        assert inner[0] - found.step <= found.low and found.high <= inner[-1] + found.step


def test_one_person_counts_once_with_the_mean_of_what_may_be_claimed() -> None:
    goes = [off(7.0, 0.02, "a"), off(8.0, 0.02, "b"), off(7.9, 6.0, "c")]
    mean = of_one_person(goes)
    assert mean is not None and mean.value == pytest.approx(7.5)
    assert mean.half_width_95 == pytest.approx(0.02 / 2**0.5, rel=1e-3)
    assert of_one_person(goes[2:]) is None and of_one_person([]) is None


@pytest.mark.parametrize(
    ("value", "half", "where"),
    [
        (6.5, 0.05, Side.BELOW),
        (6.95, 0.1, Side.OPEN),
        (7.5, 0.05, Side.WITHIN),
        (7.5, 0.6, Side.OPEN),
        (8.3, 0.05, Side.ABOVE),
        (8.15, 0.1, Side.OPEN),
    ],
)
def test_a_side_is_said_only_where_half_width_and_rounding_allow(
    value: float, half: float, where: Side
) -> None:
    assert side(off(value, half), Spread(7.0, 7.4, 8.0, 0.2)) is where


@given(st.floats(1, 50), st.floats(0.001, 0.2), times)
def test_a_row_lies_in_its_picture_in_order(value: float, half: float, values: list[float]) -> None:
    row = rows.among(off(value, half), of(values))
    assert row is not None
    assert 0 <= row.low_x <= row.middle_x <= row.high_x <= 100 and row.width > 0
    assert 0 <= row.from_x <= row.x <= row.to_x <= 100


def test_what_is_too_unsure_is_not_drawn() -> None:
    assert rows.among(off(1.0, 5.0), of([7.0] * 5)) is None


@pytest.mark.parametrize(
    ("apart", "x", "differs", "beyond"),
    [(0.0, 50.0, False, False), (0.1, 60.0, False, False), (-0.2, 30.0, True, False)]
    + [(9.0, 90.0, True, True), (-9.0, 10.0, True, True)],
)
def test_a_difference_stands_in_units_of_its_half_width(
    apart: float, x: float, differs: bool, beyond: bool
) -> None:
    row = rows.against(off(apart, 0.1))
    assert row is not None
    assert row.x == pytest.approx(x, abs=0.01) and row.beyond is beyond
    if abs(abs(apart) - 0.1) > 1e-6:  # at the ± itself either is right
        assert row.differs is differs


def test_the_band_holds_what_cannot_be_told() -> None:
    for apart in np.linspace(-0.3, 0.3, 61):
        row = rows.against(off(float(apart), 0.1))
        assert row is not None
        inside = rows.UNSURE_FROM_X < row.x < rows.UNSURE_FROM_X + rows.UNSURE_WIDTH
        if abs(abs(apart) - 0.1) > 1e-6:
            assert inside is not row.differs


def test_two_counts_have_no_half_width_to_be_drawn_in() -> None:
    assert rows.against(Quantity(1.0)) is None
