"""What a camera sees: angles, refraction, and where it looks.

Outside evidence: a converter's table of angles at 36 mm (conversionencyclopedia.com, focal
length to horizontal angle of view, full frame); the refractive index of water against air by
temperature (scubageek.com/articles/wwwh2o.html, table 1); a subsea imaging guide: “an 80° lens
would be reduced to less than 60° with a simple flat port”, magnified “up to 33 %”
(support.subcimaging.com, field of view); a photographer's page on ports: a flat port works up to
60° and is unacceptable above 75° (home.swipnet.se/marinls/domeuw.html).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinics.compute import sight
from clinics.compute.errors import BadInput
from clinics.compute.sight import Pool, Port, sight_of
from tests.clinics.sight_stands import ANGLES, LONG, quick, stand

METRES = st.floats(min_value=0.1, max_value=60.0)


# --- Angles ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("focal_mm", "published_deg"),
    [(14, 104.250033), (24, 73.739795), (28, 65.470453), (50, 39.597753), (135, 15.189287)],
)
def test_angle_of_view_as_a_converter_prints_it(focal_mm: float, published_deg: float) -> None:
    angle = sight.angle_of_view_deg(focal_length_mm=focal_mm, sensor_width_mm=36.0)
    assert angle == pytest.approx(published_deg, abs=1e-5)


@pytest.mark.parametrize(("celsius", "published"), [(10, 1.3337), (20, 1.3330), (30, 1.3319)])
def test_the_index_of_pool_water_is_within_what_is_published(
    celsius: int, published: float
) -> None:
    """And what temperature does to it is far below what a plan can show."""
    assert pytest.approx(published, abs=0.0012) == sight.N_POOL_WATER
    there = sight.angle_in_water_deg(90.0, n=published)
    assert there == pytest.approx(sight.angle_in_water_deg(90.0), abs=0.1)


def test_a_flat_port_narrows_80_degrees_to_less_than_60() -> None:
    """A subsea imaging guide's words; and near the axis it magnifies by a third."""
    assert 55 < sight.seen_angle_deg(80.0, Port.FLAT) < 60
    assert sight.magnification(0.0) == pytest.approx(1.33, abs=0.005)
    assert sight.seen_angle_deg(80.0, Port.DOME) == 80.0
    assert sight.seen_angle_deg(80.0, Port.AIR) == 80.0


@pytest.mark.parametrize(
    ("air_deg", "water_deg"), [(60, 44.06), (70, 50.97), (90, 64.07), (120, 81.04)]
)
def test_flat_port_table(air_deg: float, water_deg: float) -> None:
    """Computed beforehand from Snell's law at n = 1.333, not published."""
    assert sight.angle_in_water_deg(air_deg) == pytest.approx(water_deg, abs=0.006)


@pytest.mark.parametrize(
    ("off_axis_deg", "times"),
    [(5, 1.337), (10, 1.349), (15, 1.372), (20, 1.407), (25, 1.462), (30, 1.549)],
)
def test_a_flat_port_has_no_one_scale(off_axis_deg: float, times: float) -> None:
    """Computed beforehand at n = 1.333; the last row rounds 1.5485 up."""
    assert sight.magnification(off_axis_deg) == pytest.approx(times, abs=0.0006)


@pytest.mark.parametrize(
    ("plane_m", "nearer_m", "percent"),
    [
        (10, 0.25, 2.56), (10, -0.25, -2.44), (10, 0.5, 5.26), (10, -0.5, -4.76),
        (10, 1.25, 14.29), (10, -1.25, -11.11),
    ],
)  # fmt: skip
def test_parallax_table(plane_m: float, nearer_m: float, percent: float) -> None:
    """Computed beforehand as D / (D - d); half a lane at 10 m is one part in seven."""
    grown = sight.parallax(plane_m=plane_m, nearer_m=nearer_m)
    assert 100 * (grown - 1) == pytest.approx(percent, abs=0.006)


@quick
@given(ANGLES)
def test_refraction_is_that_of_a_ray_traced_in_vectors(angle_deg: float) -> None:
    """Independent: the vector form of Snell's law, no angle in it (Glassner 1989, from memory)."""
    half = math.radians(angle_deg) / 2
    ray, normal, ratio = (
        np.array([math.sin(half), math.cos(half)]),
        np.array([0.0, -1.0]),
        1 / 1.333,
    )
    fall = -float(normal @ ray)
    bent = ratio * ray + (ratio * fall - math.sqrt(1 - ratio**2 * (1 - fall**2))) * normal
    traced_deg = 2 * math.degrees(math.atan2(bent[0], bent[1]))
    assert sight.angle_in_water_deg(angle_deg) == pytest.approx(traced_deg, abs=1e-9)


@quick
@given(ANGLES, METRES)
def test_water_narrows_and_a_dome_does_not(angle_deg: float, distance_m: float) -> None:
    wet, dry = (
        sight.seen_angle_deg(angle_deg, Port.FLAT),
        sight.seen_angle_deg(angle_deg, Port.DOME),
    )
    assert wet < dry == angle_deg
    assert sight.field_width_m(distance_m=distance_m, angle_deg=wet) < sight.field_width_m(
        distance_m=distance_m, angle_deg=dry
    )


@quick
@given(ANGLES, METRES, METRES)
def test_wider_from_farther_away(angle_deg: float, one_m: float, more_m: float) -> None:
    near = sight.field_width_m(distance_m=one_m, angle_deg=angle_deg)
    assert near < sight.field_width_m(distance_m=one_m + more_m, angle_deg=angle_deg)


@quick
@given(ANGLES, METRES)
def test_the_reverse_gives_back_what_went_in(angle_deg: float, distance_m: float) -> None:
    width = sight.field_width_m(distance_m=distance_m, angle_deg=angle_deg)
    back_m = sight.distance_for_width_m(width_m=width, angle_deg=angle_deg)
    assert back_m == pytest.approx(distance_m)
    back_deg = sight.angle_for_width_deg(width_m=width, distance_m=distance_m)
    assert back_deg == pytest.approx(angle_deg)
    for port in Port:
        seen = sight.seen_angle_deg(angle_deg, port)
        assert sight.lens_angle_deg(seen, port) == pytest.approx(angle_deg)


def test_no_lens_sees_more_than_97_degrees_through_a_flat_port() -> None:
    """2 * asin(1 / 1.333) = 97.2 degrees: Snell's window, by the same law."""
    assert sight.angle_in_air_deg(97.0) < 180
    with pytest.raises(ValueError, match="flat port"):
        sight.angle_in_air_deg(97.3)


@pytest.mark.parametrize("angle_deg", [0.0, -10.0, 180.0, math.nan])
def test_what_is_no_angle_is_refused(angle_deg: float) -> None:
    with pytest.raises(ValueError, match="angle"):
        sight.field_width_m(distance_m=1.0, angle_deg=angle_deg)


def test_typed_angle_is_one_or_the_other() -> None:
    assert sight.typed_angle_deg(angle_deg=61.5) == 61.5
    lens = sight.typed_angle_deg(focal_length_mm=50.0, sensor_width_mm=36.0)
    assert lens == pytest.approx(39.6, abs=0.01)
    for typed, where in (
        ({}, "angle_deg"),
        ({"angle_deg": 60.0, "focal_length_mm": 50.0}, "angle_deg"),
        ({"focal_length_mm": 50.0}, "sensor_width_mm"),
        ({"sensor_width_mm": 36.0}, "focal_length_mm"),
        ({"angle_deg": 200.0}, "angle_deg"),
        ({"focal_length_mm": 0.0, "sensor_width_mm": 36.0}, "focal_length_mm"),
        ({"focal_length_mm": 5.0, "sensor_width_mm": 360.0}, "sensor_width_mm"),
    ):
        with pytest.raises(BadInput) as bad:
            sight.typed_angle_deg(**typed)
        assert [place for place, _sentence in bad.value.errors] == [where]


# --- Where a camera looks ---------------------------------------------------------------------


def test_lanes_are_as_wide_as_the_rules_say() -> None:
    """FINA FR 3.6 and 3.7: eight lanes of 2.5 m (fina.org, article 366)."""
    assert Pool(course_m=50.0, lanes=8).width_m == 20.0
    assert Pool(course_m=25.0, lanes=5, lane_m=2.0).swum_y_m == 1.0


@pytest.mark.parametrize(
    ("kind", "x_m", "y_m", "aim_m"),
    [
        ("deck", 27.5, -2.2, (27.5, 1.25)),  # straight across
        ("underwater", 25.0, 5.0, (25.0, 1.25)),
        ("underwater", 0.5, 5.0, (0.5, 1.25)),  # beside the turn, from two lanes away
        ("turn-window", 50.5, 1.25, (45.0, 1.25)),  # along the lane
        ("turn-window", -0.3, 6.0, (5.0, 1.25)),
        ("start-side", 2.5, -1.6, (1.25, 1.25)),  # between block and entry
    ],
)
def test_a_station_usually_looks_at_the_swum_lane(
    kind: str, x_m: float, y_m: float, aim_m: tuple[float, float]
) -> None:
    assert sight.usual_aim_m(stand(kind, x_m, y_m, 0.0), LONG) == aim_m


def test_an_own_aim_or_bearing_goes_before_the_usual_one() -> None:
    deck = stand("deck", 20.0, -2.0, 0.0, aim_m=(20.0 + 3.25, 1.25))
    assert sight_of(deck, LONG).bearing_deg == pytest.approx(45.0)
    assert sight_of(deck, LONG).distance_m == pytest.approx(3.25 * math.sqrt(2))
    away = sight_of(stand("deck", 20.0, -2.0, 0.0, bearing_deg=-90.0), LONG)
    assert (away.bearing_deg, away.distance_m, away.width_m) == (-90.0, None, None)


def test_below_the_water_a_camera_has_a_flat_port_unless_said() -> None:
    wet = stand("underwater", 25.0, 5.0, -0.5, angle_deg=60.0)
    assert sight_of(wet, LONG).angle_deg == pytest.approx(44.06, abs=0.01)
    domed = stand("underwater", 25.0, 5.0, -0.5, angle_deg=60.0, port=Port.DOME)
    assert sight_of(domed, LONG).angle_deg == 60.0


def test_a_high_camera_is_farther_away_and_sees_more() -> None:
    """3-4-5: 3 m away on the plan, 4 m up, so 5 m from the swimmer; 90° is then 10 m wide."""
    high = sight_of(stand("deck", 20.0, -1.75, 4.0, angle_deg=90.0), LONG)
    assert high.distance_m == pytest.approx(5.0)
    assert high.width_m == pytest.approx(10.0)
    assert math.tan(math.radians(high.plan_angle_deg / 2)) == pytest.approx(5 / 3)
