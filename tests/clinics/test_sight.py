"""What a camera sees: angles, refraction, cones on the plan, and what is said of each station.

Outside evidence: a converter's table of angles at 36 mm (conversionencyclopedia.com, focal
length to horizontal angle of view, full frame); the refractive index of water against air by
temperature (scubageek.com/articles/wwwh2o.html, table 1); a subsea imaging guide: “an 80° lens
would be reduced to less than 60° with a simple flat port”, magnified “up to 33 %”
(support.subcimaging.com, field of view); a photographer's page on ports: a flat port works up to
60° and is unacceptable above 75° (home.swipnet.se/marinls/domeuw.html). Facts of the trade are
common practice, no source.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from clinics.compute import sight
from clinics.compute.errors import BadInput
from clinics.compute.sight import Pool, Port, Stand, sight_of
from clinics.compute.sight_cones import (
    FIELD_HELP,
    Check,
    Finding,
    Span,
    State,
    cone,
    end_x_m,
    findings,
    lane_seen,
)

ANGLES = st.floats(min_value=2.0, max_value=160.0)
METRES = st.floats(min_value=0.1, max_value=60.0)
LONG = Pool(course_m=50.0, lanes=6)
quick = settings(max_examples=60, deadline=None)


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


def stand(kind: str, x_m: float, y_m: float, z_m: float, **more: object) -> Stand:
    return Stand(kind, kind, x_m, y_m, z_m, **more)  # type: ignore[arg-type]


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


# --- Cones ------------------------------------------------------------------------------------


def area_m2(polygon: tuple[tuple[float, float], ...]) -> float:
    around = itertools.pairwise([*polygon, polygon[0]])
    return abs(sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in around)) / 2


def inside(polygon: tuple[tuple[float, float], ...], x: float, y: float) -> bool:
    """Even-odd rule."""
    odd = False
    for (x0, y0), (x1, y1) in itertools.pairwise([*polygon, polygon[0]]):
        if (y0 > y) != (y1 > y) and x < x0 + (y - y0) / (y1 - y0) * (x1 - x0):
            odd = not odd
    return odd


def test_a_cone_of_90_degrees_with_a_reach_is_a_triangle() -> None:
    """Legs of 2 m each side of the axis at 2 m: 4 m² by school geometry."""
    drawn = cone(stand("underwater", 25.0, 5.0, 0.0, angle_deg=90.0), LONG, reach_m=2.0)
    assert sorted((round(x, 9), round(y, 9)) for x, y in drawn.polygon) == [
        (23.0, 3.0),
        (25.0, 5.0),
        (27.0, 3.0),
    ]
    assert area_m2(drawn.polygon) == pytest.approx(4.0)


def test_a_cone_under_water_ends_at_the_walls_and_one_in_air_does_not() -> None:
    wet = cone(stand("underwater", 25.0, 5.0, -0.5), LONG).polygon
    assert min(y for _x, y in wet) == pytest.approx(0.0)
    dry = cone(stand("deck", 25.0, -2.0, 1.6), LONG).polygon
    assert max(y for _x, y in dry) == pytest.approx(LONG.width_m + LONG.deck_m)
    window = cone(stand("turn-window", 50.5, 1.25, -0.5), LONG).polygon
    assert max(x for x, _y in window) == pytest.approx(50.0)
    assert cone(stand("turn-window", 50.5, 1.25, -0.5, bearing_deg=0.0), LONG).polygon == ()
    for out_deg in (-90.0, -100.0):  # at the edge, looking out: no corner of the water is seen
        edge = stand("underwater", 25.0, 0.0, -0.5, bearing_deg=out_deg)
        assert cone(edge, LONG).polygon == ()


def test_who_stands_far_out_is_still_on_the_plan() -> None:
    far = cone(stand("deck", 25.0, -9.0, 3.0), LONG).polygon
    assert any(x == pytest.approx(25.0) and y == pytest.approx(-9.0) for x, y in far)


STANDS = st.builds(
    stand,
    st.sampled_from(["deck", "underwater", "turn-window", "start-side"]),
    st.floats(min_value=-4, max_value=54),
    st.floats(min_value=-4, max_value=14),
    st.sampled_from([-0.5, 0.0, 1.6]),
    angle_deg=ANGLES,
    bearing_deg=st.one_of(st.none(), st.floats(min_value=-180, max_value=180)),
)


@quick
@given(STANDS, st.floats(min_value=0, max_value=1), st.floats(min_value=0, max_value=1))
def test_a_cone_holds_what_lies_within_half_the_angle(
    one: Stand, along: float, across: float
) -> None:
    """Independent: by the angle between the axis and where a point of the water lies."""
    x, y = along * LONG.course_m, across * LONG.width_m
    drawn = cone(one, LONG)
    at_deg = math.degrees(math.atan2(y - one.y_m, x - one.x_m))
    off_deg = abs((at_deg - drawn.sight.bearing_deg + 180) % 360 - 180)
    half_deg = drawn.sight.plan_angle_deg / 2
    assume(abs(off_deg - half_deg) > 1e-3 and math.hypot(x - one.x_m, y - one.y_m) > 1e-3)
    assume(0 < x < LONG.course_m and 0 < y < LONG.width_m)
    if not drawn.polygon:  # less than a triangle of the water
        assert off_deg > half_deg
    else:
        assert inside(drawn.polygon, x, y) == (off_deg < half_deg)


@quick
@given(STANDS, st.floats(min_value=0.001, max_value=0.999))
def test_the_lane_seen_is_the_cone_along_the_lanes_middle(one: Stand, along: float) -> None:
    x, span, drawn = along * LONG.course_m, lane_seen(one, LONG), cone(one, LONG)
    assume(span is None or min(abs(x - span.from_m), abs(x - span.to_m)) > 1e-6)
    seen = span is not None and span.from_m < x < span.to_m
    assert seen == bool(drawn.polygon and inside(drawn.polygon, x, LONG.swum_y_m))


# --- Findings ---------------------------------------------------------------------------------


def found(*stands: Stand, pool: Pool = LONG, **more: object) -> dict[Check, Finding]:
    given_: dict[str, object] = {"distance_m": 75.0, "starter_m": (0.0, -1.0)}
    told = findings(stands, pool, **(given_ | {"air_temperature_c": 20.0} | more))  # type: ignore[arg-type]
    return {one.check: one for one in told}


def test_the_words_of_the_plan_page() -> None:
    """“Under water this lens sees 2.25 m at 3.75 m; a swimmer with arms stretched is about
    2.3 m. Go to the next rope, or set the lens wider.”"""
    field = found(stand("underwater", 25.0, 5.0, -0.5, angle_deg=45.0))[Check.FIELD]
    assert field.state is State.LOOK
    assert "%(width_m).2f at %(distance_m).2f" % field.numbers == "2.25 at 3.75"  # noqa: UP031
    assert field.numbers["need_m"] == 2.3
    assert field.numbers["distance_needed_m"] == pytest.approx(3.84, abs=0.005)
    assert field.numbers["angle_needed_deg"] == pytest.approx(46.0, abs=0.05)
    assert field.numbers["rope_needed"] == 3
    assert set(field.numbers) == {"width_m", "distance_m", "need_m", *FIELD_HELP}


def test_what_the_field_finding_advises_is_enough() -> None:
    told = found(stand("underwater", 25.0, 5.0, -0.5, angle_deg=45.0))[Check.FIELD].numbers
    back = stand("underwater", 25.0, told["rope_needed"] * 2.5, -0.5, angle_deg=45.0)
    wide = stand("underwater", 25.0, 5.0, -0.5, angle_deg=told["angle_needed_deg"] + 1e-6)
    for better in (back, wide):
        assert found(better)[Check.FIELD].state is State.OK
    assert set(found(wide)[Check.FIELD].numbers) == {"width_m", "distance_m", "need_m"}


def test_no_lens_and_no_rope_is_advised_where_there_is_none() -> None:
    """2.3 m at 0.5 m needs 133° in water; 97° is all that a flat port lets through."""
    close = found(stand("underwater", 25.0, 1.75, -0.5, angle_deg=45.0), pool=Pool(50.0, 2))
    assert set(close[Check.FIELD].numbers) & set(FIELD_HELP) == {"distance_needed_m"}


def test_an_underwater_camera_stands_a_lane_away_and_the_rope_comes_out() -> None:
    """Common practice, no source."""
    near = found(stand("underwater", 25.0, 3.5, -0.5))
    assert near[Check.LANE_AWAY].state is State.LOOK
    assert near[Check.LANE_AWAY].numbers == {"distance_m": 2.25, "need_m": 2.5}
    assert (near[Check.ROPES].state, near[Check.ROPES].ropes) == (State.LOOK, (1,))
    off = found(stand("underwater", 25.0, 5.0, -0.5))
    assert off[Check.LANE_AWAY].state is State.OK
    assert off[Check.ROPES].ropes == (1,), "the rope at which it stands is not between"
    assert found(stand("underwater", 25.0, 7.6, -0.5))[Check.ROPES].ropes == (1, 2, 3)


def test_a_rope_that_the_plan_takes_out_is_not_asked_for_again() -> None:
    one = stand("underwater", 25.0, 7.0, -0.5)
    half, all_ = found(one, ropes_out={1})[Check.ROPES], found(one, ropes_out={1, 2})[Check.ROPES]
    assert (half.state, half.ropes) == (State.LOOK, (2,))
    assert (all_.state, all_.ropes, all_.numbers) == (State.OK, (), {"count": 0})


def test_the_start_camera_has_block_and_entry_in_frame() -> None:
    good = found(stand("start-side", 2.5, -2.0, 1.6))[Check.START]
    assert good.state is State.OK
    assert (good.numbers["need_from_m"], good.numbers["need_to_m"]) == (-0.5, 3.0)
    for bad in (
        stand("start-side", 6.0, -2.0, 1.6, bearing_deg=90.0),  # no wall
        stand("start-side", 0.0, -2.0, 1.6, bearing_deg=120.0),  # no entry
        stand("start-side", 1.25, -1.0, 1.6, angle_deg=30.0),  # too near for that lens
    ):
        assert found(bad)[Check.START].state is State.LOOK


def test_a_camera_that_looks_away_from_the_lane_is_told() -> None:
    away = found(stand("deck", 25.0, -2.0, 1.6, bearing_deg=-90.0))
    assert (away[Check.LANE].state, away[Check.LANE].numbers) == (State.LOOK, {})
    assert Check.FIELD not in away
    seen = found(stand("deck", 25.0, -2.0, 0.0, angle_deg=90.0))[Check.LANE]
    assert (seen.state, seen.numbers) == (
        State.OK,
        {"from_m": pytest.approx(21.75), "to_m": pytest.approx(28.25)},
    )


@pytest.mark.parametrize(
    ("course_m", "x_m", "state"),
    [(50, 25.0, "ok"), (50, 30.0, "ok"), (50, 12.0, "look"), (25, 21.0, "ok"), (25, 12.5, "look")],
)
def test_a_deck_camera_stands_about_25_m_from_the_start(
    course_m: float, x_m: float, state: str
) -> None:
    """Common practice, no source; in a shorter pool at its far end."""
    told = found(stand("deck", x_m, -3.0, 1.6), pool=Pool(course_m, 6))[Check.DECK_PLACE]
    assert (told.state.value, told.numbers["usual_m"]) == (state, 25.0)


@pytest.mark.parametrize(
    ("x_m", "y_m", "state"),
    [(50.4, 1.2, "ok"), (-0.4, 1.2, "ok"), (46.0, 1.2, "look"), (48.9, -0.3, "ok")],
)
def test_a_turn_window_is_at_a_wall_or_has_it_in_picture(
    x_m: float, y_m: float, state: str
) -> None:
    told = found(stand("turn-window", x_m, y_m, -0.5, angle_deg=120.0))
    assert told[Check.WALL].state.value == state
    assert Check.CLIMB_OUT not in told, "a window is in nobody's way"


@pytest.mark.parametrize(
    ("x_m", "y_m", "state"),
    [
        (25.0, -0.8, "look"),  # at the edge where they climb out
        (26.0, 1.0, "look"),  # in the swum lane
        (27.9, -0.8, "look"),
        (28.1, -0.8, "ok"),
        (25.0, -2.2, "ok"),  # behind them
        (25.0, 5.0, "ok"),  # lanes away
    ],
)
def test_nobody_stands_where_swimmers_climb_out(x_m: float, y_m: float, state: str) -> None:
    """75 m in a 50 m pool end 25 m from the start wall, at the side of the swum lane."""
    told = found(stand("deck", x_m, y_m, 1.6))[Check.CLIMB_OUT]
    assert (told.state.value, told.numbers["out_m"]) == (state, 25.0)


def test_where_a_go_ends() -> None:
    assert [end_x_m(50.0, far) for far in (25.0, 50.0, 60.0, 100.0, 125.0)] == [25, 50, 40, 0, 25]
    assert end_x_m(22.86, 68.58) == pytest.approx(22.86)


def test_sound_is_told_of_who_hears() -> None:
    """25 m at 20 °C: 72.84 ms (freesmartcalculator's table gives 343.21 m/s)."""
    told = found(stand("deck", 25.0, -1.0, 1.5, hears_start=True))[Check.SOUND]
    assert told.state is State.OK
    assert told.numbers["distance_m"] == pytest.approx(25.0)
    assert told.numbers["delay_ms"] == pytest.approx(72.84, abs=0.01)
    assert Check.SOUND not in found(stand("deck", 25.0, -1.0, 1.5))


def test_findings_stand_in_the_order_of_the_stations_and_cannot_be_changed() -> None:
    two = [stand("deck", 25.0, -2.0, 1.6), stand("underwater", 25.0, 5.0, -0.5)]
    told = findings(two, LONG, distance_m=75.0, starter_m=(0.0, -1.0), air_temperature_c=27.0)
    keys = [one.key for one in told]
    assert keys == sorted(keys), "deck, then underwater"
    with pytest.raises(TypeError):
        told[0].numbers["from_m"] = 0.0  # type: ignore[index]
    assert lane_seen(two[0], LONG) == Span(told[0].numbers["from_m"], told[0].numbers["to_m"])
