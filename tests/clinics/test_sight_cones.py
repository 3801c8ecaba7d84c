"""What a camera sees as a cone on the plan, and what is said of each station because of it.

Facts of the trade are common practice, no source.
"""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from clinics.compute.sight import Pool, Stand
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
from tests.clinics.sight_stands import ANGLES, LONG, quick, stand

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
