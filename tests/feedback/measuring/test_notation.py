"""How a number with its ± is written: GUM 7.2.6, one or two figures of the ±, the value to the
same place. What is expected here is worked out apart from the code, in decimal arithmetic."""

from __future__ import annotations

from decimal import ROUND_CEILING, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from feedback.compute.measuring import plots
from feedback.compute.measuring.notation import FINEST, Claim, claim, written
from feedback.compute.measuring.spread import spread
from feedback.compute.measuring.uncertain import Quantity, Shape, Source, half_width_95


def known(value: float, half: float) -> Quantity:
    """With a ± of 95 of 100 cases."""
    return Quantity(value, {Source("one", Shape.BELL, half / 1.959964): 1.0})


def text(value: float, half: float) -> str:
    w = written(known(value, half))
    return f"{w.value:.{w.decimals}f} ± {w.half_width:.{w.decimals}f}"


@pytest.mark.parametrize(
    ("value", "half", "says"),
    [
        (9.996, 0.01, "9.996 ± 0.010"),
        (9.996, 0.04, "10.00 ± 0.04"),
        (59.996, 0.04, "60.00 ± 0.04"),
        (5.0, 0.0996, "5.00 ± 0.10"),
        (5.0, 0.00004, "5.000 ± 0.001"),
        (0.4, 2.5, "0.4 ± 2.5"),
        (0.4, 6.0, "0 ± 6"),
        (1234.0, 1500.0, "1200 ± 1500"),
        (-0.0004, 0.01, "0.000 ± 0.010"),
        (-0.04, 6.0, "0 ± 6"),
        (-3.0, 120.0, "0 ± 120"),
    ],
)
def test_figures_end_where_the_half_width_does(value: float, half: float, says: str) -> None:
    assert text(value, half) == says


def test_nothing_has_no_minus_in_any_figure() -> None:
    assert str(written(Quantity(-0.0)).value) == "0.0"
    near = spread([known(one, 0.2) for one in (-0.3, -0.06, -0.05, -0.01, 0.4)])
    assert near is not None and str(near.high) == "0.0"


@given(st.floats(-2000, 2000), st.floats(1e-5, 500))
def test_half_width_is_rounded_up_and_the_value_to_its_place(value: float, half: float) -> None:
    quantity = known(value, half)
    w, half = written(quantity), quantity.half_width_95
    place = Decimal(1).scaleb(max(-FINEST, Decimal(str(half)).adjusted()))
    finest = max(place / 10, Decimal(1).scaleb(-FINEST))  # of two figures
    up = {
        (Decimal(str(half)) / step).to_integral_value(ROUND_CEILING) * step
        for step in (place, finest)
    }
    assert any(w.half_width == pytest.approx(float(one), abs=1e-6) for one in up)
    assert w.half_width >= half - 1e-6
    assert abs(w.value - value) <= float(place) / 2 + 1e-9
    assert not f"{w.value:.{w.decimals}f}".startswith("-0" if w.value == 0 else "?")


@given(st.floats(0.01, 2000), st.floats(1e-6, 500))
def test_what_may_be_claimed_hangs_on_the_share_of_the_value(value: float, half: float) -> None:
    share = known(value, half).half_width_95 / value
    expected = Claim.GOOD if share <= 0.05 else Claim.ROUGH if share <= 0.25 else Claim.TOO_UNSURE
    assert claim(known(value, half)) is expected


def test_what_rounding_leaves_of_a_shared_error_does_not_widen_a_half_width() -> None:
    """0.95 a of one box, (2 - sqrt 0.2) a of two (arithmetic): a sum in floating point leaves
    1e-17 of an error that two numbers share, which is no third box."""
    assert half_width_95((0.02, 1e-17), 0.0) == pytest.approx(0.019, rel=1e-5)
    two = half_width_95((0.02, 0.02, 1e-17), 0.0)
    assert two == pytest.approx(0.02 * (2 - 0.2**0.5), rel=1e-5)
    for left in (10.0**-n for n in range(6, 20)):
        assert half_width_95((1.0, left), 0.0) == pytest.approx(0.95, rel=1e-4)


@given(st.lists(st.floats(0.001, 100), min_size=1, max_size=6))
def test_whole_shares_add_up_to_a_hundred(values: list[float]) -> None:
    told, whole = plots.whole_percents(values), sum(values)
    assert sum(told) == 100
    for percent, value in zip(told, values, strict=True):
        assert abs(percent - 100 * value / whole) < 1.001
