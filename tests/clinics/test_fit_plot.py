"""The geometry of the residual plot: all of it inside, to scale, nothing that counts cut off."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinics.compute.fit_plot import Band, Panel, Point, draw, limit_of, round_up, steps_s

RESIDUALS = st.floats(-5_000, 5_000)
POINTS = st.lists(
    st.builds(
        Point,
        at_s=st.floats(0, 4_000),
        residual_ms=RESIDUALS,
        kind=st.just("start-heard"),
        aside=st.sampled_from(["", "wrong swimmer?"]),
    ),
    max_size=12,
)
MS = st.floats(0, 3_000)
BANDS = st.lists(
    st.builds(Band, st.floats(0, 1_000), st.floats(1_001, 4_000), MS, MS, MS), max_size=3
)


@given(points=POINTS, bands=BANDS)
def test_all_stands_inside_and_what_counts_stands_to_scale(
    points: list[Point], bands: list[Band]
) -> None:
    plot = draw([Panel("Deck", points, bands)])
    if plot is None:
        assert not points and not bands
        return
    panel = plot.panels[0]
    for dot in panel.points:
        assert 0 <= dot.x <= 100 and 0 <= dot.y <= 100
        assert dot.hollow is bool(dot.point.aside)
        assert not (dot.beyond and not dot.hollow), "a tie that counts is never off the panel"
        if not dot.beyond:  # the place read back gives the residual: up is later
            read = (50 - dot.y) / 50 * panel.limit_ms
            assert read == pytest.approx(dot.point.residual_ms, abs=panel.limit_ms * 1e-4)
        at_s = plot.begin_s + dot.x / 100 * (plot.end_s - plot.begin_s)
        assert at_s == pytest.approx(dot.point.at_s, abs=(plot.end_s - plot.begin_s) * 1e-4)
    for number in re.findall(r"-?[\d.]+(?:e-?\d+)?", panel.band):
        assert 0 <= float(number) <= 100
    assert len(panel.points) == len(points)


@given(begin=st.floats(-4_000, 90_000), length=st.floats(1, 50_000))
def test_a_scale_has_few_labels_all_within(begin: float, length: float) -> None:
    steps = steps_s(begin, begin + length)
    assert len(steps) <= 9
    assert all(begin - 1e-6 <= at <= begin + length + 1e-6 for at in steps)


@given(value=st.floats(1e-3, 1e6))
def test_rounded_up_is_round_and_not_much_more(value: float) -> None:
    rounded = round_up(value)
    assert value * (1 - 1e-9) <= rounded <= 2.6 * value
    assert f"{rounded:e}"[0] in "125"


def test_panels_share_the_time_and_have_their_own_edge() -> None:
    near = Panel("Start side", [Point(100.0, 3.0, "start-heard")], [])
    far = Panel("Underwater", [Point(200.0, -320.0, "passing")], [])
    plot = draw([near, far])
    assert plot is not None
    assert [panel.limit_ms for panel in plot.panels] == [5.0, 500.0]
    assert [panel.points[0].x for panel in plot.panels] == [0.0, 100.0]


def test_a_wide_band_does_not_press_the_ties_together() -> None:
    assert limit_of([Point(0, 2.0, "start-heard")], [Band(0, 9, 2_000, 1_000, 2_000)]) == 100.0
    assert limit_of([], []) == 5.0
    assert draw([Panel("Deck", [], [])]) is None
    assert draw([Panel("Deck", [Point(7.0, 0.0, "instant")], [])]) is not None  # one instant
