"""Lines of a plane in its picture, what its marks are off, and distances, against OpenCV and
drawn clicks."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinics.compute.errors import BadInput
from feedback.compute.measuring.plane import Known, Plane, fit_plane
from feedback.compute.measuring.plane_lines import apart, distance_lines, residual_m
from feedback.compute.measuring.plane_marks import mixed_up, plane_of

LANE = [(212, 318, 5, 0), (1706, 334, 15, 0), (1828, 742, 15, 2.5), (96, 716, 5, 2.5)]


def fitted(rows: list[tuple[float, float, float, float]] = LANE) -> Plane:
    return fit_plane([Known(*row) for row in rows], key="p")


def test_lines_stand_where_opencv_puts_them() -> None:
    picture = np.array([row[:2] for row in LANE], dtype=np.float32)
    metres = np.array([row[2:] for row in LANE], dtype=np.float32)
    to_picture = cv2.getPerspectiveTransform(metres, picture)
    lines = distance_lines(fitted())
    assert [line.along_m for line in lines] == [5, 10, 15]
    for line in lines:
        # 15 % beyond the marks, which stand at 0 and 2.5 m across
        places = np.array([[[line.along_m, -0.375]], [[line.along_m, 2.875]]])
        theirs = cv2.perspectiveTransform(places, to_picture)[:, 0]
        assert np.array(line.ends) == pytest.approx(theirs, abs=0.05)


def test_a_view_of_few_metres_has_a_line_at_each() -> None:
    few = [(0, 0, 11.2, 0), (640, 0, 14.6, 0), (640, 360, 14.6, -2), (0, 360, 11.2, -2)]
    # 15 % of 3.4 m beyond the marks
    assert [line.along_m for line in distance_lines(fitted(few))] == [11, 12, 13, 14, 15]


def test_no_line_reaches_beyond_the_horizon() -> None:
    """A camera 1.33 m over the water looks along the course; the horizon is at row 100. 15 %
    beyond the nearest marks is behind the camera, where nothing can be drawn."""
    rows = []
    for px, py in ((300, 108), (340, 108), (600, 340), (40, 340)):
        away = py - 100
        rows.append((float(px), float(py), 800 / away, (px - 320) * 800 / 600 / away))
    plane = fitted(rows)
    lines = distance_lines(plane)
    assert [line.along_m for line in lines][:3] == [5, 10, 15]
    for line in lines:
        for px, py in line.ends:
            assert py > 100 and plane.spot(px, py, "end").x.value == pytest.approx(line.along_m)


def test_what_marks_are_off_is_said_in_metres() -> None:
    assert residual_m(fitted()) is None
    scale = [(100.0 * x, 100.0 * y, float(x), float(y)) for x in (0, 5, 10) for y in (0, 3)]
    good = residual_m(fitted(scale))
    assert good == pytest.approx(0, abs=1e-6)
    shifted = [(px + (20 if n == 2 else 0), py, x, y) for n, (px, py, x, y) in enumerate(scale)]
    off = residual_m(fitted(shifted))
    assert off is not None and 0.02 < off < 0.2  # of 0.2 m, most is on the one that was moved


@given(st.integers(0, 10_000))
@settings(max_examples=4, deadline=None)
def test_a_distance_is_as_sure_as_clicks_make_it(seed: int) -> None:
    """Marks and clicks are drawn anew; the stated ± of a distance covers 95 of 100 of them."""
    rng = np.random.default_rng(seed)
    true = fitted()
    ends = [(700.0, 420.0), (1300.0, 600.0)]
    places = [true.spot(*one, "t") for one in ends]
    far = np.hypot(places[1].x.value - places[0].x.value, places[1].y.value - places[0].y.value)
    held = 0
    for _n in range(200):
        rows = [
            Known(px + rng.normal(0, 1.5), py + rng.normal(0, 1.5), x, y, 0.02)
            for (px, py), (x, y) in (
                (true.pixel(x + rng.normal(0, 0.02), y + rng.normal(0, 0.02)), (x, y))
                for _px, _py, x, y in LANE
            )
        ]
        plane = fit_plane(rows, key="p")
        spots = [
            plane.spot(px + rng.normal(0, 1.5), py + rng.normal(0, 1.5), f"{n}")
            for n, (px, py) in enumerate(ends)
        ]
        between = apart(*spots)
        held += abs(between.value - far) <= between.half_width_95
    assert held >= 178  # 190 expected; less than 178 of 200 has a chance of 1 in 20,000


def test_the_same_point_twice_is_no_distance() -> None:
    spot = fitted().spot(900, 500, "a")
    with pytest.raises(BadInput, match="same one"):
        apart(spot, spot)


def test_marks_changed_over_are_found_by_number() -> None:
    rows = [Known(*row) for row in LANE]
    rows[0], rows[1] = (
        Known(rows[0].px, rows[0].py, rows[1].x_m, rows[1].y_m),
        Known(rows[1].px, rows[1].py, rows[0].x_m, rows[0].y_m),
    )
    with pytest.raises(BadInput, match="Marks 1 and 2 look mixed up, or marks 3 and 4"):
        plane_of(rows, key="p")
    assert mixed_up(rows, BadInput([("", "something else")])) == []
