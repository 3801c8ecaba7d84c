"""Metres in a picture, against general-purpose libraries and imposed planes."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinics.compute.errors import BadInput
from feedback.compute.measuring.picture_cautions import out_of_plane_share, port_scale
from feedback.compute.measuring.plane import Known, Plane, fit_plane, worst_mark

Row = tuple[float, float, float, float]
LANE: list[Row] = [(212, 318, 5, 0), (1706, 334, 15, 0), (1828, 742, 15, 2.5), (96, 716, 5, 2.5)]


def plane_of(rows: Sequence[Row]) -> Plane:
    return fit_plane([Known(*row) for row in rows], key="p")


def at(plane: Plane, px: float, py: float) -> tuple[float, float]:
    spot = plane.spot(px, py, "here")
    return spot.x.value, spot.y.value


def test_four_points_as_libraries_have_them() -> None:
    """OpenCV 5.0.0 and scikit-image 0.26.0 give these (points of OpenCV's tutorial, from
    memory)."""
    plane = plane_of([(56, 65, 0, 0), (368, 52, 300, 0), (28, 387, 0, 300), (389, 390, 300, 300)])
    assert at(plane, 200, 200) == pytest.approx((144.332755, 139.305307), abs=1e-6)
    assert at(plane, 100, 100) == pytest.approx((46.437212, 38.760478), abs=1e-6)
    first = plane.matrix[0]
    assert first == pytest.approx([1.05587376, 0.0918151097, -65.0969128], rel=1e-8)


def test_lane_strip_in_pixels() -> None:
    """Computed with OpenCV and scikit-image, which agree to 6e-14."""
    plane = plane_of(LANE)
    assert at(plane, 960, 540) == pytest.approx((10.03982, 1.41903), abs=6e-6)
    assert at(plane, 600, 400) == pytest.approx((7.69771, 0.54519), abs=6e-6)
    assert at(plane, 1400, 650) == pytest.approx((12.64096, 2.03053), abs=6e-6)
    assert plane.pixel(10.03982, 1.41903) == pytest.approx((960, 540), abs=0.01)


def test_same_as_opencv_today() -> None:
    picture = np.array([row[:2] for row in LANE], dtype=np.float32)
    metres = np.array([row[2:] for row in LANE], dtype=np.float32)
    theirs = cv2.getPerspectiveTransform(picture, metres)
    assert plane_of(LANE).matrix == pytest.approx(theirs, rel=1e-5, abs=1e-9)


TRUE = np.array([[0.02, 0.001, -3], [0.0005, 0.035, -9], [1e-5, 2e-4, 1]])
SEEN = [(300, 320), (1600, 330), (1750, 900), (200, 880), (950, 600), (700, 450)]


def imposed(picture: Sequence[tuple[float, float]]) -> list[Row]:
    rows: list[Row] = []
    for px, py in picture:
        u, v, w = TRUE @ np.array([px, py, 1.0])
        rows.append((px, py, u / w, v / w))
    return rows


def test_imposed_plane_comes_back() -> None:
    assert plane_of(imposed(SEEN[:4])).matrix == pytest.approx(TRUE, abs=1e-9)
    plane = plane_of(imposed(SEEN))
    assert plane.matrix == pytest.approx(TRUE, abs=1e-6)
    assert plane.residual_px == pytest.approx(0.0, abs=1e-4)


def test_six_marks_tell_which_one_is_off() -> None:
    rows = imposed(SEEN)
    rows[3] = (rows[3][0] + 25, *rows[3][1:])
    plane = plane_of(rows)
    assert worst_mark(plane) == (3, pytest.approx(25, abs=1))
    assert plane.residual_px is not None
    assert plane.residual_px > 1
    assert worst_mark(plane_of(rows[:5])) is None
    good = plane_of(imposed(SEEN))
    assert plane.spot(900, 600, "a").x.u > 1.05 * good.spot(900, 600, "a").x.u


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        (LANE[:3], "from 4 to 40 marks"),
        ([*LANE[:2], (900, 325.4, 9.6, 0.0), LANE[3]], "lie in one line"),
        ([LANE[0], LANE[2], LANE[1], (96, 716, float("nan"), 2.5)], "has no place"),
        ([(0, 0, 0, 0), (10, 0, 1, 0), (20, 0, 2, 0), (5, 5, 1, 1)], "1, 2, 3 lie in one line"),
        (
            [(0, 0, 0, 0), (10, 0, 10, 0), (10, 10, 0, 10), (0, 10, 10, 10)],
            "mixed up",
        ),
    ],
)
def test_marks_that_make_no_plane_are_refused(rows: Sequence[Row], says: str) -> None:
    with pytest.raises(BadInput) as caught:
        plane_of(rows)
    assert says in str(caught.value)


def test_above_the_horizon_is_no_place() -> None:
    with pytest.raises(BadInput, match="horizon"):
        plane_of(imposed(SEEN[:4])).spot(0, -6000, "sky")


def test_place_outside_the_marks_says_so_and_is_less_sure() -> None:
    plane = plane_of(LANE)
    inside, outside = plane.spot(960, 540, "a"), plane.spot(1919, 100, "b")
    assert (inside.outside, outside.outside) == (False, True)
    assert outside.x.u > inside.x.u


@given(st.integers(0, 10_000))
@settings(max_examples=4, deadline=None)
def test_stated_uncertainty_covers_what_clicks_make(seed: int) -> None:
    """Marks and clicks drawn anew with the errors that they are said to have: the distance
    between two places is within its ± in about 95 of 100 draws."""
    rng = np.random.default_rng(seed)
    rows = imposed(SEEN[:4] if seed % 2 else SEEN)
    hits = 0
    for _ in range(200):
        drawn = [
            Known(
                px + rng.normal(0, 1.5),
                py + rng.normal(0, 1.5),
                x + rng.normal(0, 0.02),
                y + rng.normal(0, 0.02),
            )
            for px, py, x, y in rows
        ]
        plane = fit_plane(drawn, key="p")
        one = plane.spot(500 + rng.normal(0, 1.5), 500 + rng.normal(0, 1.5), "a")
        other = plane.spot(1200 + rng.normal(0, 1.5), 700 + rng.normal(0, 1.5), "b")
        way = other.x - one.x
        truth = imposed([(1200, 700)])[0][2] - imposed([(500, 500)])[0][2]
        hits += abs(way.value - truth) <= way.half_width_95
    assert 0.90 <= hits / 200 <= 1.0


def from_the_side(x_m: float, y_m: float) -> tuple[float, float]:
    """A pinhole camera 3 m above the water and 10 m beside the lane, level with 12.5 m."""
    down, f_px = np.arctan2(3.0, 11.0), 1400.0
    deep = (y_m + 10.0) * np.cos(down) + 3.0 * np.sin(down)
    below = 3.0 * np.cos(down) - (y_m + 10.0) * np.sin(down)
    return 960 + f_px * (x_m - 12.5) / deep, 540 + f_px * below / deep


@pytest.mark.parametrize("more", [(), ((12.0, 0.0), (12.0, 2.5), (10.0, 0.0))], ids=["4", "7"])
def test_a_lane_seen_from_the_side_is_as_sure_as_said(
    more: tuple[tuple[float, float], ...],
) -> None:
    """There a pixel is four times as long across the lane as along it; the ± along is that of
    draws (GUM Supplement 1, JCGM 101:2008), no narrower and hardly wider."""
    rng, errors, said = np.random.default_rng(2), [], []
    for _ in range(300):
        marks = []
        for x_m, y_m in ((8.0, 0.0), (16.0, 0.0), (16.0, 2.5), (8.0, 2.5), *more):
            off = rng.normal(0, 0.02, 2)
            px, py = np.array(from_the_side(x_m + off[0], y_m + off[1])) + rng.normal(0, 1.5, 2)
            marks.append(Known(float(px), float(py), x_m, y_m))
        px, py = np.array(from_the_side(12.0, 0.3)) + rng.normal(0, 1.5, 2)
        spot = fit_plane(marks, key="p").spot(float(px), float(py), "here")
        errors.append(spot.x.value - 12.0)
        said.append(spot.x.u)
    assert np.median(said) == pytest.approx(np.std(errors), rel=0.13)


@pytest.mark.parametrize(
    ("nearer_m", "share"),
    [(0.25, 0.0256), (-0.25, -0.0244), (0.5, 0.0526), (-0.5, -0.0476), (1.25, 0.1429)],
)
def test_body_out_of_the_plane(nearer_m: float, share: float) -> None:
    """Similar triangles at 10 m (1library.co, a textbook chapter of Bartlett)."""
    assert out_of_plane_share(nearer_m, 10.0) == pytest.approx(share, abs=6e-5)


@pytest.mark.parametrize(
    ("angle_deg", "scale"),
    [(5, 1.337), (10, 1.349), (15, 1.372), (20, 1.407), (25, 1.462), (30, 1.549)],
)
def test_flat_port_is_no_plain_scale(angle_deg: float, scale: float) -> None:
    """Snell's law, n = 1.333: tan(air) / tan(water). Arithmetic."""
    assert port_scale(angle_deg) == pytest.approx(scale, abs=6e-4)


@pytest.mark.parametrize("bad", [(10.0, 10.0), (1.0, 0.0), (12.0, 10.0)])
def test_body_behind_the_camera_is_an_error(bad: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="before the camera"):
        out_of_plane_share(*bad)
