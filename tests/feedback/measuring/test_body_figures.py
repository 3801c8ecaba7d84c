"""Angles and the centre from points on a picture: their values, their ±, and what is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest

from feedback.compute.measuring.body.centre import Place
from feedback.compute.measuring.body.figures import (
    JOINTS,
    TO_SURFACE,
    Angle,
    Kind,
    angles_of,
    centre_on,
    flattened,
)
from feedback.compute.measuring.body.points import (
    LEVEL,
    LINES,
    PLACES,
    Fault,
    For,
    OnPicture,
    PointsWrong,
    cleaned,
    needed,
    on_picture,
)
from feedback.compute.measuring.body.tables import DE_LEVA_MALE, IN_THE_MIDDLE, WINTER, At, Side
from feedback.compute.measuring.plane import CLICK_U_PX
from tests.feedback.measuring.bodies import PX_PER_M, SIZE, on_screen

L, R = Side.LEFT, Side.RIGHT
DRAWS = 4000


def seen(points: dict[str, list[float]] | None = None) -> OnPicture:
    return on_picture(on_screen() if points is None else points, *SIZE)


def told(points: OnPicture) -> dict[tuple[Kind, Side | None], Angle]:
    return {(one.kind, one.side): one for one in angles_of(points, key="f")}


def px(**places: tuple[float, float]) -> OnPicture:
    """Points by their names, `_` for `-`, in pixels."""
    by_name = {name.replace("_", "-"): at for name, at in places.items()}
    return on_picture({n: [x / SIZE[0], y / SIZE[1]] for n, (x, y) in by_name.items()}, *SIZE)


# --- values --------------------------------------------------------------------------------------


def test_angles_of_a_whole_body() -> None:
    """Elbow, knee and trunk: arithmetic on the same points apart from this code. In a picture y
    points down; the trunk's shoulders are higher, and positive would be lower."""
    found = told(seen())
    assert found[Kind.ELBOW, L].quantity.value == pytest.approx(128.7822, abs=1e-4)
    assert found[Kind.KNEE, R].quantity.value == pytest.approx(163.3755, abs=1e-4)
    assert found[Kind.TRUNK, None].quantity.value == pytest.approx(-2.2906, abs=1e-4)
    assert {kind for kind, _side in found} == set(Kind)
    assert len(found) == 2 * len(JOINTS) + 4


def test_published_joint_angle_through_the_picture() -> None:
    """BMClab/BMC, KinematicsAngular2D.ipynb: segments at 45 and 135 degrees make 90."""
    right = told(px(shoulder_left=(100, 200), elbow_left=(200, 100), wrist_left=(300, 200)))
    assert right[Kind.ELBOW, L].quantity.value == pytest.approx(90.0)


def test_entry_angles_say_which_body_line_and_count_downward() -> None:
    """Of the line head-hip or hands-hip to the surface (van Dijk 2020, PLoS One, PMC7598512).
    Whichever way the swimmer goes."""
    for front in (1, -1):
        at = px(
            fingertip_left=(320 + front * 100, 200), vertex=(320 + front * 50, 120), hips=(320, 100)
        )
        found = told(at)
        assert found[Kind.ENTRY_HANDS, None].quantity.value == pytest.approx(45.0)
        assert found[Kind.ENTRY_HEAD, None].quantity.value == pytest.approx(
            math.degrees(math.atan2(20, 50))
        )
        assert found[Kind.ENTRY_HANDS, None].of == ((At.FINGERTIP, L), (At.HIPS, None))
    both = px(
        wrist_left=(400, 180), wrist_right=(420, 220), hip_left=(300, 90), hip_right=(300, 110)
    )
    hands = told(both)[Kind.ENTRY_HANDS, None]
    assert hands.quantity.value == pytest.approx(math.degrees(math.atan2(100, 110)))
    assert len(hands.of) == 4


def test_level_line_takes_the_cameras_tilt_out() -> None:
    tilt = math.radians(6.0)
    body = {"fingertip_left": (400.0, 300.0), "hips": (200.0, 100.0)}
    ends = {"level_1": (100.0, 100.0), "level_2": (500.0, 100.0 + 400 * math.tan(tilt))}
    level = told(px(**body, **ends))[Kind.ENTRY_HANDS, None].quantity
    without = told(px(**body))[Kind.ENTRY_HANDS, None].quantity
    assert without.value == pytest.approx(45.0) and level.value == pytest.approx(39.0)
    assert level.u > without.u  # its two clicks are part of it
    other_way = {"level_1": ends["level_2"], "level_2": ends["level_1"]}
    assert told(px(**body, **other_way))[Kind.ENTRY_HANDS, None].quantity.value == pytest.approx(39)
    half = told(px(**body, level_1=(100.0, 100.0)))[Kind.ENTRY_HANDS, None].quantity
    assert half.value == pytest.approx(45.0)


def test_head_in_line_with_the_trunk_has_no_angle_to_it() -> None:
    trunk = {"hips": (100, 200), "shoulders": (200, 200)}
    straight = told(px(**trunk, neck=(220, 200), vertex=(260, 200)))
    assert straight[Kind.HEAD, None].quantity.value == pytest.approx(0.0)
    for y in (180, 220):
        raised = told(px(**trunk, neck=(220, 200), vertex=(240, y)))
        assert raised[Kind.HEAD, None].quantity.value == pytest.approx(45.0)


def test_trunk_runs_along_one_side_and_never_across() -> None:
    along = told(px(shoulder_left=(200, 100), hip_left=(100, 120)))
    assert along[Kind.TRUNK, None].of == ((At.SHOULDER, L), (At.HIP, L))
    across = told(px(shoulder_left=(200, 100), hip_right=(100, 120), vertex=(230, 90)))
    assert (Kind.TRUNK, None) not in across and (Kind.HEAD, None) not in across


def test_points_that_are_missing_or_lie_together_give_no_angle() -> None:
    assert told(px(shoulder_left=(1, 1), wrist_left=(60, 60))) == {}
    together = px(shoulder_left=(10, 10), elbow_left=(60, 60), wrist_left=(60, 60))
    assert told(together) == {}


# --- how sure ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "side"),
    [
        (Kind.ELBOW, L),
        (Kind.KNEE, R),
        (Kind.TRUNK, None),
        (Kind.HEAD, None),
        (Kind.ENTRY_HANDS, None),
        (Kind.ENTRY_HEAD, None),
    ],
)
def test_clicks_drawn_at_random_stay_within_the_stated_interval(
    kind: Kind, side: Side | None
) -> None:
    """Every point off by 1.5 px along each axis, by itself: 95 of 100 angles are within ±."""
    rng = np.random.default_rng(3)
    points = {**on_screen(), "level-1": [0.1, 0.5], "level-2": [0.9, 0.52]}
    stated = told(seen(points))[kind, side].quantity
    within = 0
    for _ in range(DRAWS // 4):
        off = {
            name: [x + rng.normal(0, CLICK_U_PX) / SIZE[0], y + rng.normal(0, CLICK_U_PX) / SIZE[1]]
            for name, (x, y) in points.items()
        }
        drawn = told(seen(off))[kind, side].quantity.value
        within += abs(drawn - stated.value) <= stated.half_width_95
    assert 0.93 <= within / (DRAWS // 4) <= 0.975


def test_a_straight_limb_is_as_unsure_as_a_bent_one() -> None:
    """Where the angle folds at 180 its change is nothing, and its ± is not."""
    straight = told(px(shoulder_left=(100, 100), elbow_left=(200, 100), wrist_left=(300, 100)))
    arm = straight[Kind.ELBOW, L].quantity
    assert arm.value == pytest.approx(180.0)
    # two segments of 100 px that share the elbow: 1.5 / 100 rad, once, once and twice
    assert arm.u == pytest.approx(math.degrees(CLICK_U_PX / 100 * math.sqrt(6)), rel=1e-6)


def test_a_small_screen_makes_a_point_less_sure() -> None:
    sharp = on_screen()
    coarse = {name: [*at, 3.5] for name, at in sharp.items()}
    one, other = (told(seen(points))[Kind.ELBOW, L].quantity for points in (sharp, coarse))
    assert other.value == one.value and other.u == pytest.approx(3.5 * one.u)
    finer = {name: [*at, 0.2] for name, at in sharp.items()}
    assert told(seen(finer))[Kind.ELBOW, L].quantity.u == one.u


def test_angles_that_share_points_share_their_errors() -> None:
    found = told(seen())
    elbow, shoulder = (found[kind, L].quantity for kind in (Kind.ELBOW, Kind.SHOULDER))
    assert set(elbow.parts) & set(shoulder.parts)
    assert (elbow - elbow).half_width_95 == 0


def test_turned_angles_lie_around_what_is_seen_and_widen() -> None:
    """Of a right angle turned by 20 degrees: 86.4 to 93.6, by turning about the diagonals."""
    right = told(px(shoulder_left=(100, 100), elbow_left=(200, 100), wrist_left=(200, 200)))
    ten, twenty = right[Kind.ELBOW, L].turns
    assert (ten.turn_deg, twenty.turn_deg) == (10.0, 20.0)
    assert twenty.least_deg < ten.least_deg < 90 < ten.most_deg < twenty.most_deg
    half = math.degrees(math.atan(1 / math.cos(math.radians(20))))
    assert (twenty.least_deg, twenty.most_deg) == pytest.approx((180 - 2 * half, 2 * half))
    for one in angles_of(seen(), key="f"):
        for turn in one.turns:
            assert turn.least_deg - 1e-9 <= one.quantity.value <= turn.most_deg + 1e-9


def test_a_swimmer_who_goes_askew_is_flatter_than_it_looks() -> None:
    """A body 1 m long ahead and 1 m deep, 20 degrees away from the picture's plane, shows
    cos 20° of its length: 46.8 degrees are seen, 45 are true."""
    looks = math.degrees(math.atan2(1.0, math.cos(math.radians(20))))
    assert flattened(looks, 20.0).least_deg == pytest.approx(45.0)
    assert flattened(-looks, 20.0).most_deg == pytest.approx(-45.0)


# --- the centre ----------------------------------------------------------------------------------


def test_centre_moves_as_little_as_its_uncertainty_says() -> None:
    rng = np.random.default_rng(5)
    points = on_screen()
    _centre, u_px = centre_on(seen(points), DE_LEVA_MALE)
    xs = []
    for _ in range(DRAWS):
        off = {name: [x + rng.normal(0, 1.5) / SIZE[0], y] for name, (x, y) in points.items()}
        at = centre_on(seen(off), DE_LEVA_MALE)[0].at
        assert at is not None
        xs.append(at[0])
    assert np.std(xs) == pytest.approx(u_px, rel=0.05)
    coarse = {name: [*at, 2.0] for name, at in points.items()}
    assert centre_on(seen(coarse), DE_LEVA_MALE)[1] == pytest.approx(2 * u_px)


def test_winters_trunk_carries_head_and_neck() -> None:
    points = {n: at for n, at in on_screen().items() if n not in ("vertex", "neck")}
    assert centre_on(seen(points), WINTER)[0].whole
    assert not centre_on(seen(points), DE_LEVA_MALE)[0].whole


# --- names, sets, faults -------------------------------------------------------------------------


def test_every_point_has_one_name_and_limbs_one_for_each_side() -> None:
    assert len(PLACES) == len(IN_THE_MIDDLE) + 2 * (len(At) - len(IN_THE_MIDDLE))
    assert PLACES["elbow-left"] == (At.ELBOW, L) and PLACES["vertex"] == (At.VERTEX, None)


@pytest.mark.parametrize("what", For)
@pytest.mark.parametrize("near", Side)
def test_sets_name_known_points_once_and_give_what_they_are_for(what: For, near: Side) -> None:
    names = needed(what, near)
    assert len(set(names)) == len(names) and set(names) <= {*PLACES, *LEVEL}
    points = {name: at for name, at in on_screen().items() if name in names}
    kinds = {one.kind for one in angles_of(seen(points), key="f")}
    assert (
        kinds
        >= {
            For.ENTRY: {Kind.ENTRY_HANDS, Kind.ENTRY_HEAD, Kind.KNEE},
            For.TRUNK: {Kind.TRUNK, Kind.HEAD},
            For.ARM: {Kind.SHOULDER, Kind.ELBOW, Kind.WRIST},
            For.LEG: {Kind.HIP, Kind.KNEE, Kind.ANKLE},
            For.WHOLE: set(Kind),
        }[what]
    )
    if what is For.WHOLE:
        assert centre_on(seen(points), DE_LEVA_MALE)[0].whole
        assert set(TO_SURFACE) <= kinds and set(LEVEL) <= set(names)


def test_lines_join_known_points() -> None:
    assert {name for ends in LINES for name in ends} <= {*PLACES, *LEVEL}


@pytest.mark.parametrize(
    ("given", "fault"),
    [
        ([], Fault.NUMBER),
        ({"vertex": "here"}, Fault.NUMBER),
        ({"vertex": [0.1]}, Fault.NUMBER),
        ({"vertex": [0.1, True]}, Fault.NUMBER),
        ({"vertex": [0.1, math.nan]}, Fault.NUMBER),
        ({"vertex": [0.1, 10**400]}, Fault.NUMBER),
        ({"vertex": [0.1, 0.1, 0.0]}, Fault.NUMBER),
        ({"vertex": [0.1, 0.1, 900.0]}, Fault.NUMBER),
        ({"vertex": [0.1, 0.1, 1.0, 1.0]}, Fault.NUMBER),
        ({"vertex-left": [0.1, 0.1]}, Fault.UNKNOWN),
        ({"level-3": [0.1, 0.1]}, Fault.UNKNOWN),
        ({7: [0.1, 0.1]}, Fault.UNKNOWN),
        ({"vertex": [1.001, 0.1]}, Fault.OUTSIDE),
        ({"vertex": [0.5, 0.5], "neck": [0.5005, 0.5005]}, Fault.ONE_PLACE),
        ({"level-1": [0.5, 0.5], "level-2": [0.505, 0.5]}, Fault.SHORT_LEVEL),
        ({"level-1": [0.5, 0.1], "level-2": [0.6, 0.9]}, Fault.STEEP_LEVEL),
    ],
)
def test_what_are_no_points_is_refused_by_name(given: object, fault: Fault) -> None:
    with pytest.raises(PointsWrong) as raised:
        cleaned(given, *SIZE)
    assert raised.value.fault is fault


def test_what_may_lie_together_is_kept_to_a_millionth() -> None:
    assert cleaned({}, *SIZE) == {}
    hips = {"hip-left": [0.5, 0.5], "hip-right": [0.5, 0.5], "hips": [0.5, 0.5]}
    assert set(cleaned(hips, *SIZE)) == set(hips)
    kept = cleaned({"vertex": [1 / 3, 1, 2.345], "neck": [0, 0]}, *SIZE)
    assert kept == {"vertex": (0.333333, 1.0, 2.35), "neck": (0.0, 0.0, 1.0)}


def test_the_picture_of_the_tests_is_the_swimmer_of_the_checks() -> None:
    place: Place = (At.KNEE, R)
    click = seen().clicks[place]
    assert (click.x, click.y) == pytest.approx((0.90 * PX_PER_M, (1.6 - 0.90) * PX_PER_M))
