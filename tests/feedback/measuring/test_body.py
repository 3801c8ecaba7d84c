"""Segments and the body's centre, against published tables and worked examples; angles."""

from __future__ import annotations

import math

import pytest

from feedback.compute.measuring.angles import (
    joint_deg,
    segment_deg,
    to_surface_deg,
    turned,
    unwrapped,
)
from feedback.compute.measuring.body.centre import Place, centre_of, centre_of_mass
from feedback.compute.measuring.body.path import OnFrame, steps
from feedback.compute.measuring.body.tables import (
    DE_LEVA_FEMALE,
    DE_LEVA_MALE,
    DE_LEVA_MEAN,
    TABLES,
    WINTER,
    At,
    Part,
    Side,
)
from feedback.compute.measuring.uncertain import Quantity, Shape, Source

R, L = Side.RIGHT, Side.LEFT
SWIMMER: dict[Place, tuple[float, float]] = {
    (At.VERTEX, None): (2.05, 1.00),
    (At.NECK, None): (1.82, 1.06),
    (At.SHOULDERS, None): (1.80, 1.00),
    (At.HIPS, None): (1.30, 0.98),
    (At.SHOULDER, R): (1.80, 1.00),
    (At.ELBOW, R): (2.06, 1.02),
    (At.WRIST, R): (2.30, 1.03),
    (At.FINGERTIP, R): (2.48, 1.04),
    (At.HIP, R): (1.30, 0.98),
    (At.KNEE, R): (0.90, 0.90),
    (At.ANKLE, R): (0.47, 0.94),
    (At.HEEL, R): (0.42, 0.97),
    (At.TOE, R): (0.25, 0.88),
    (At.SHOULDER, L): (1.80, 1.00),
    (At.ELBOW, L): (1.70, 0.74),
    (At.WRIST, L): (1.45, 0.66),
    (At.FINGERTIP, L): (1.28, 0.60),
    (At.HIP, L): (1.30, 0.98),
    (At.KNEE, L): (0.88, 0.99),
    (At.ANKLE, L): (0.45, 1.01),
    (At.HEEL, L): (0.40, 1.05),
    (At.TOE, L): (0.22, 0.98),
}


def total(table: tuple[Part, ...]) -> float:
    return math.fsum(part.share * (2 if part.two else 1) for part in table)


@pytest.mark.parametrize(
    ("table", "whole"),
    [(DE_LEVA_MALE, 1.0), (DE_LEVA_FEMALE, 0.9999), (DE_LEVA_MEAN, 0.99995), (WINTER, 1.0)],
)
def test_shares_of_mass_add_up(table: tuple[Part, ...], whole: float) -> None:
    """de Leva 1996, table 4: 100.00 % and 99.99 %; Winter (BMClab/BMC): 1.000."""
    assert total(table) == pytest.approx(whole, abs=1e-9)


# per cent of mass of one segment, per cent of its length from the first point: male, then female
PUBLISHED = {
    "head": (6.94, 6.68, 50.02, 48.41),  # vertex to cervicale
    "trunk": (43.46, 42.57, 43.10, 37.82),  # mid-shoulders to mid-hips
    "upper arm": (2.71, 2.55, 57.72, 57.54),
    "forearm": (1.62, 1.38, 45.74, 45.59),
    "hand": (0.61, 0.56, 36.24, 34.27),  # wrist to the third fingertip
    "thigh": (14.16, 14.78, 40.95, 36.12),
    "shank": (4.33, 4.81, 43.95, 43.52),  # to the ankle joint
    "foot": (1.37, 1.29, 44.15, 40.14),  # from the heel, not from the ankle
}


def test_rows_of_de_leva() -> None:
    """De Leva 1996, table 4, as in BMClab/BMC data/BSPmale_ZdeLeva.txt and BSPfemale_ZdeLeva.txt
    (commit 2367332f) and in deleva.m (R. Gurchiek, 2018); the paper itself was not read."""
    for at, table in ((0, DE_LEVA_MALE), (1, DE_LEVA_FEMALE)):
        rows = {p.name: (100 * p.share, 100 * p.along) for p in table}
        assert rows.keys() == PUBLISHED.keys()
        for name, row in PUBLISHED.items():
            assert rows[name] == pytest.approx((row[at], row[2 + at])), name


def test_rows_of_winter() -> None:
    """Mass and centre from the proximal end (BMClab/BMC data/BSP_DempsterWinter.txt, commit
    bb70ec69)."""
    assert {p.name: (p.share, p.along) for p in WINTER} == {
        "trunk, head and neck": (0.578, 0.66),
        "upper arm": (0.028, 0.436),
        "forearm and hand": (0.022, 0.682),
        "thigh": (0.100, 0.433),
        "shank": (0.0465, 0.433),
        "foot": (0.0145, 0.50),
    }
    assert WINTER[0].first is At.HIPS and WINTER[0].last is At.SHOULDERS


def test_trunk_of_its_parts() -> None:
    """de Leva's trunk is its upper, middle and lower part: 15.96 + 16.33 + 11.17 = 43.46 %,
    15.45 + 14.65 + 12.47 = 42.57 %."""
    assert DE_LEVA_MALE[1].share == pytest.approx(0.1596 + 0.1633 + 0.1117)
    assert DE_LEVA_FEMALE[1].share == pytest.approx(0.1545 + 0.1465 + 0.1247)


def test_winters_worked_limb() -> None:
    """Winter's example as printed in BMClab/BMC, BodySegmentParameters.ipynb: foot (0.930,
    0.062), leg (0.858, 0.359), thigh (0.783, 0.764), the limb (0.818, 0.584) m."""
    toe, ankle, knee, hip = (1.011, 0.013), (0.849, 0.110), (0.864, 0.549), (0.721, 0.928)
    thigh, shank, foot = WINTER[3], WINTER[4], WINTER[5]
    assert centre_of(foot, ankle, toe) == pytest.approx((0.930, 0.062), abs=6e-4)
    assert centre_of(shank, knee, ankle) == pytest.approx((0.858, 0.359), abs=6e-4)
    assert centre_of(thigh, hip, knee) == pytest.approx((0.783, 0.764), abs=6e-4)
    limb: dict[Place, tuple[float, float]] = {
        (At.TOE, R): toe,
        (At.ANKLE, R): ankle,
        (At.KNEE, R): knee,
        (At.HIP, R): hip,
    }
    centre = centre_of_mass(limb, WINTER)
    assert centre.at == pytest.approx((0.818, 0.584), abs=6e-4)
    assert centre.share == pytest.approx(0.161)
    assert not centre.whole


@pytest.mark.parametrize(
    ("name", "at"),
    [("de-leva-male", (1.397144, 0.974136)), ("de-leva-female", (1.399279, 0.975358))],
)
def test_whole_body(name: str, at: tuple[float, float]) -> None:
    """Arithmetic on de Leva's table, done apart from this code."""
    centre = centre_of_mass(SWIMMER, TABLES[name])
    assert centre.whole
    assert centre.at == pytest.approx(at, abs=1e-6)


def test_mean_lies_between() -> None:
    found = [centre_of_mass(SWIMMER, table).at for table in (DE_LEVA_MALE, DE_LEVA_FEMALE)]
    mean = centre_of_mass(SWIMMER, DE_LEVA_MEAN).at
    assert mean is not None and all(found)
    assert found[0][0] < mean[0] < found[1][0]  # type: ignore[index]


def test_missing_parts_are_named_and_not_guessed() -> None:
    some = {place: at for place, at in SWIMMER.items() if place != (At.WRIST, L)}
    centre = centre_of_mass(some, DE_LEVA_MALE)
    assert not centre.whole
    assert [(one.part, one.side, one.points) for one in centre.missing] == [
        ("forearm", L, (At.WRIST,)),
        ("hand", L, (At.WRIST,)),
    ]
    assert centre.share == pytest.approx(1 - 0.0162 - 0.0061)
    nothing = centre_of_mass({}, DE_LEVA_MALE)
    assert (nothing.at, nothing.share) == (None, 0.0)


def test_middles_are_taken_between_both_sides() -> None:
    joints = {p: at for p, at in SWIMMER.items() if p[0] not in (At.SHOULDERS, At.HIPS)}
    assert centre_of_mass(joints, DE_LEVA_MALE).at == pytest.approx((1.397144, 0.974136), abs=1e-6)
    one_side = {p: at for p, at in joints.items() if p[1] is not L}
    assert "trunk" in [one.part for one in centre_of_mass(one_side, DE_LEVA_MALE).missing]


def test_errors_of_clicks_carry_on() -> None:
    """The weights of all points add up to 1 along each axis: moving all moves the centre."""
    centre = centre_of_mass(SWIMMER, DE_LEVA_MALE)
    assert math.fsum(centre.clicks.values()) == pytest.approx(1.0)
    moved = {p: (x + (p == (At.KNEE, R)), y) for p, (x, y) in SWIMMER.items()}
    after = centre_of_mass(moved, DE_LEVA_MALE)
    assert after.at is not None and centre.at is not None
    assert after.at[0] - centre.at[0] == pytest.approx(centre.clicks[At.KNEE, R])
    assert centre.u(0.02) < 0.02


def test_joint_angles() -> None:
    """BMClab/BMC, KinematicsAngular2D.ipynb: segments at 45 and 135 degrees make 90; the other
    two are arithmetic on the swimmer above."""
    assert segment_deg((0, 0), (1, 1), y_up=True) == pytest.approx(45.0)
    assert segment_deg((2.1, 0), (1.1, 1), y_up=True) == pytest.approx(135.0)
    assert joint_deg((0, 0), (1, 1), (2, 0)) == pytest.approx(90.0)
    elbow = joint_deg(SWIMMER[At.SHOULDER, L], SWIMMER[At.ELBOW, L], SWIMMER[At.WRIST, L])
    assert elbow == pytest.approx(128.7822, abs=1e-4)
    knee = joint_deg(SWIMMER[At.HIP, R], SWIMMER[At.KNEE, R], SWIMMER[At.ANKLE, R])
    assert knee == pytest.approx(163.3755, abs=1e-4)
    trunk = segment_deg(SWIMMER[At.HIPS, None], SWIMMER[At.SHOULDERS, None], y_up=True)
    assert trunk == pytest.approx(2.2906, abs=1e-4)


def test_angle_to_the_surface_counts_downward_whichever_way_one_swims() -> None:
    """Entry angle to the surface, positive downward (van Dijk 2020, PLoS One, PMC7598512).
    Pictures have y downward."""
    assert to_surface_deg((3, 4), (1, 2)) == pytest.approx(45.0)
    assert to_surface_deg((1, 4), (3, 2)) == pytest.approx(45.0)
    assert to_surface_deg((3, 1), (1, 2)) == pytest.approx(-26.5651, abs=1e-4)
    tilted = ((0.0, 0.0), (10.0, 1.0))
    assert to_surface_deg((10, 1), (0, 0), tilted) == pytest.approx(0.0, abs=1e-9)
    assert to_surface_deg((10, 1), (0, 0), (tilted[1], tilted[0])) == pytest.approx(0.0, abs=1e-9)


def test_turned_limb_is_wider_the_more_it_is_turned() -> None:
    ten, twenty = (turned((0, 0), (1, 0), (1.8, 0.7), deg) for deg in (10.0, 20.0))
    seen = joint_deg((0, 0), (1, 0), (1.8, 0.7))
    assert twenty.least_deg < ten.least_deg < seen < ten.most_deg < twenty.most_deg
    straight = turned((0, 0), (1, 0), (2, 0), 20.0)
    assert (straight.least_deg, straight.most_deg) == pytest.approx((180.0, 180.0))


def test_series_without_jumps() -> None:
    assert unwrapped([170, -170, 175, -90]) == pytest.approx([170, 190, 175, 270])


def test_speed_of_the_centre_over_frames() -> None:
    """A projectile: OpenStax College Physics 2e, example 3.5: 25.0 m/s at 35.0 degrees, 20.5 m/s
    along; after 3.96 s 24.5 m/s downward, g = 9.80."""
    speed, up, g = 25.0 * math.cos(math.radians(35)), 25.0 * math.sin(math.radians(35)), 9.80

    def place(n: int, t: float) -> OnFrame:
        exact = Quantity(t, {Source(f"t{n}", Shape.BOX, 1e-6): 1.0})
        return OnFrame(exact, Quantity(speed * t), Quantity(up * t - g * t * t / 2))

    made = steps([place(n, n * 0.01) for n in range(398)])
    last = min(made, key=lambda step: abs(step.at_s - 3.955))
    assert last.along.value == pytest.approx(20.5, abs=0.05)
    assert last.upward.value == pytest.approx(-24.5, abs=0.1)
    with pytest.raises(ValueError, match="order of time"):
        steps([place(0, 1.0), place(1, 1.0)])
