"""Drawings as geometry: the angle against the law of cosines and published values, points that
are refused, lines that stay within what they are of."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from feedback.compute.drawing import (
    CASING,
    COLOURS,
    COUNTS,
    Ellipse,
    Fault,
    PointsWrong,
    Polyline,
    Text,
    angle_deg,
    clean_points,
    label_of,
    label_place,
    outlines_of,
    path_of,
    shapes_of,
)
from feedback.compute.pen import PATTERNS, Outline, cut, inked
from feedback.models import Drawing

PICTURES = [(1280, 720), (640, 360), (720, 1280), (1440, 1080)]
# Joints of a swimmer seen from the side, in metres, y up.
WORKED_M = [
    # Two segments, (0,0)-(1,1) and (1.1,1)-(2.1,0): 45° and 135°, so 90.0° between them. Printed
    # in "Angular kinematics in 2D", BMClab/BMC, notebooks/KinematicsAngular2D.ipynb. The second
    # one is laid to the end of the first.
    ([(0, 0), (1, 1), (2, 0)], 90.0),
    # No published source: computed twice, here and by hand. An elbow: SJC, EJC, WJC.
    ([(1.80, 1.00), (1.70, 0.74), (1.45, 0.66)], 128.7822),
    # As above: a knee, HJC, KJC, AJC.
    ([(1.30, 0.98), (0.90, 0.90), (0.47, 0.94)], 163.3755),
]

fraction = st.floats(0, 1, allow_subnormal=False)
place = st.tuples(fraction, fraction)
size = st.integers(100, 4000)


def of_cosines(points: Any, width_px: int, height_px: int) -> float:
    """The angle by the three sides of the triangle."""
    a, v, b = [(x * width_px, y * height_px) for x, y in points]
    one, other, across = math.dist(a, v), math.dist(b, v), math.dist(a, b)
    cosine = (one**2 + other**2 - across**2) / (2 * one * other)
    return math.degrees(math.acos(max(-1.0, min(1.0, cosine))))


@pytest.mark.parametrize(("metres", "deg"), WORKED_M)
@pytest.mark.parametrize(("width_px", "height_px"), PICTURES)
def test_angle_is_the_worked_one(metres: Any, deg: float, width_px: int, height_px: int) -> None:
    """Filmed square on: metres become pixels with y down (value from memory: flip the sign)."""
    px_per_m = min(width_px, height_px) / 4
    points = [(x * px_per_m / width_px, 1 - y * px_per_m / height_px) for x, y in metres]
    assert angle_deg(points, width_px, height_px) == pytest.approx(deg, abs=5e-5)
    assert label_of("joint", points, width_px, height_px) == f"{deg:.0f}°"


@given(st.tuples(place, place, place), size, size)
def test_angle_is_that_of_the_law_of_cosines(points: Any, width_px: int, height_px: int) -> None:
    a, v, b = [(x * width_px, y * height_px) for x, y in points]
    assume(min(math.dist(a, v), math.dist(b, v)) > 1)
    # near 0° and 180° the law of cosines itself is only good to about 1e-5 degrees
    mine, theirs = angle_deg(points, width_px, height_px), of_cosines(points, width_px, height_px)
    assert mine == pytest.approx(theirs, abs=1e-4)
    assert 0 <= mine <= 180


@given(st.tuples(place, place, place), size, size, st.integers(2, 8))
def test_angle_is_the_same_in_any_size_and_from_either_limb(
    points: Any, width_px: int, height_px: int, times: int
) -> None:
    a, v, b = [(x * width_px, y * height_px) for x, y in points]
    assume(min(math.dist(a, v), math.dist(b, v)) > 1)
    here = angle_deg(points, width_px, height_px)
    assert angle_deg(points, width_px * times, height_px * times) == pytest.approx(here, abs=1e-6)
    assert angle_deg(points[::-1], width_px, height_px) == pytest.approx(here, abs=1e-9)
    mirrored = [(1 - x, y) for x, y in points]
    assert angle_deg(mirrored, width_px, height_px) == pytest.approx(here, abs=1e-3)


def test_angle_is_of_the_picture_and_not_of_its_fractions() -> None:
    """The same fractions are a right angle in a square and none in a wide picture."""
    points = [(0.2, 0.2), (0.5, 0.5), (0.8, 0.2)]
    assert angle_deg(points, 1000, 1000) == pytest.approx(90)
    wide = angle_deg(points, 1600, 900)
    assert wide == pytest.approx(2 * math.degrees(math.atan(16 / 9)))


# --- points --------------------------------------------------------------------------------------

GOOD: dict[str, list[list[float]]] = {
    "pointer": [[0.1, 0.1], [0.5, 0.5]],
    "ring": [[0.1, 0.1], [0.5, 0.5]],
    "trace": [[0.1, 0.1], [0.2, 0.3], [0.4, 0.3], [0.6, 0.2]],
    "joint": [[0.1, 0.1], [0.3, 0.5], [0.6, 0.5]],
    "level": [[0.5, 0.25]],
    "plumb-line": [[0.5, 0.25]],
}


def test_every_kind_that_can_be_kept_has_its_points() -> None:
    assert set(COUNTS) == set(Drawing.Kind.values) == set(GOOD)
    assert set(COLOURS) == set(PATTERNS) == set(Drawing.Colour.values)


@pytest.mark.parametrize("kind", GOOD)
def test_good_points_stay_as_they_are(kind: str) -> None:
    cleaned = clean_points(kind, GOOD[kind], False, 1280, 720)
    assert [list(point) for point in cleaned] == GOOD[kind]


@pytest.mark.parametrize(
    ("kind", "points", "fault"),
    [
        ("zigzag", [[0, 0], [1, 1]], Fault.KIND),
        ("pointer", [[0.1, 0.1]], Fault.COUNT),
        ("joint", [[0.1, 0.1], [0.2, 0.2]], Fault.COUNT),
        ("joint", [[0.1, 0.1]] * 4, Fault.COUNT),
        ("level", [], Fault.COUNT),
        ("trace", [[0.1, n / 600] for n in range(501)], Fault.COUNT),
        ("trace", {"0": [0.1, 0.1]}, Fault.COUNT),
        ("trace", None, Fault.COUNT),
        ("level", [0.5], Fault.NUMBER),
        ("level", [[0.5]], Fault.NUMBER),
        ("level", [[0.5, "0.5"]], Fault.NUMBER),
        ("level", [[0.5, True]], Fault.NUMBER),
        ("level", [[0.5, 0.5, 0.5]], Fault.NUMBER),
        ("level", [[0.5, 1.001]], Fault.OUTSIDE),
        ("level", [[-0.001, 0.5]], Fault.OUTSIDE),
        ("level", [[math.nan, 0.5]], Fault.OUTSIDE),
        ("level", [[math.inf, 0.5]], Fault.OUTSIDE),
        ("level", [[10**400, 0.5]], Fault.OUTSIDE),
        ("pointer", [[0.5, 0.5], [0.505, 0.5]], Fault.TINY),
        ("ring", [[0.1, 0.5], [0.9, 0.5]], Fault.TINY),
        ("joint", [[0.1, 0.1], [0.5, 0.5], [0.5, 0.5]], Fault.TINY),
        ("trace", [[0.5, 0.5], [0.501, 0.5]], Fault.TINY),
    ],
)
def test_points_that_are_no_such_drawing_are_refused(kind: str, points: Any, fault: Fault) -> None:
    with pytest.raises(PointsWrong) as refused:
        clean_points(kind, points, False, 1280, 720)
    assert refused.value.fault == fault


def test_a_trace_of_straight_lines_has_fewer_corners() -> None:
    corners = [[0.1 + (n % 2) / 2, n / 41] for n in range(41)]
    assert len(clean_points("trace", corners, False, 1280, 720)) == 41
    with pytest.raises(PointsWrong):
        clean_points("trace", corners, True, 1280, 720)


# --- lines ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", GOOD)
@pytest.mark.parametrize(("width_px", "height_px"), PICTURES)
def test_lines_scale_with_the_picture(kind: str, width_px: int, height_px: int) -> None:
    small = outlines_of(kind, GOOD[kind], False, width_px, height_px)
    large = outlines_of(kind, GOOD[kind], False, width_px * 3, height_px * 3)
    for one, three in zip(small, large, strict=True):
        flat = [n * 3 for place in one.places for n in place]
        assert [n for place in three.places for n in place] == pytest.approx(flat)


def test_level_and_plumb_line_cross_the_whole_picture_through_their_point() -> None:
    level = outlines_of("level", [[0.5, 0.25]], False, 1280, 720)[0]
    assert level.places == ((0, 180), (1280, 180))
    plumb = outlines_of("plumb-line", [[0.5, 0.25]], False, 1280, 720)[0]
    assert plumb.places == ((640, 0), (640, 720))
    assert path_of(plumb) == "M640.00 0.00L640.00 720.00"


def test_a_ring_touches_its_box_and_no_more() -> None:
    (ring,) = outlines_of("ring", [[0.5, 0.75], [0.25, 0.25]], False, 1280, 720)
    xs, ys = zip(*ring.places, strict=True)
    assert (min(xs), max(xs)) == pytest.approx((320, 640))
    assert (min(ys), max(ys)) == pytest.approx((180, 540))
    assert ring.places[0] == pytest.approx(ring.places[-1])


def test_a_pointers_head_is_at_its_tip() -> None:
    shaft, head = outlines_of("pointer", [[0.1, 0.1], [0.5, 0.5]], False, 1280, 720)
    assert shaft.places[-1] == head.places[1] == (640, 360)
    reach = [math.dist(head.places[1], end) for end in (head.places[0], head.places[2])]
    assert reach == pytest.approx([36, 36])
    assert all(x < 640 and y < 360 for x, y in (head.places[0], head.places[2]))


@given(st.lists(place, min_size=3, max_size=30))
def test_a_free_trace_is_smooth_ends_where_it_was_drawn_and_does_not_overshoot(
    points: Any,
) -> None:
    (curve,) = outlines_of("trace", points, False, 1000, 500)
    assert curve.places[0] == (points[0][0] * 1000, points[0][1] * 500)
    assert curve.places[-1] == (points[-1][0] * 1000, points[-1][1] * 500)
    for axis, full_px in ((0, 1000), (1, 500)):
        drawn = [point[axis] * full_px for point in points]
        on_curve = [spot[axis] for spot in curve.places]
        assert min(drawn) - 1e-6 <= min(on_curve) <= max(on_curve) <= max(drawn) + 1e-6


def test_straight_traces_keep_their_corners() -> None:
    (line,) = outlines_of("trace", GOOD["trace"], True, 1000, 500)
    assert [(x / 1000, y / 500) for x, y in line.places] == [
        pytest.approx(tuple(point)) for point in GOOD["trace"]
    ]


@given(st.tuples(place, place, place))
def test_a_joints_arc_spans_its_angle_and_its_label_stays_in_the_picture(points: Any) -> None:
    places = [(x * 1280, y * 720) for x, y in points]
    assume(min(math.dist(places[0], places[1]), math.dist(places[1], places[2])) > 8)
    _, arc = outlines_of("joint", points, False, 1280, 720)
    ends = (arc.places[0], places[1], arc.places[-1])
    between = angle_deg([(x / 1280, y / 720) for x, y in ends], 1280, 720)
    assert between == pytest.approx(angle_deg(points, 1280, 720), abs=1e-3)
    x, y = label_place(points, 1280, 720, 36)
    assert 36 <= x <= 1280 - 36 and 36 <= y <= 720 - 36


# --- ink -----------------------------------------------------------------------------------------


def length(pieces: Any) -> float:
    return sum(math.dist(a, b) for piece in pieces for a, b in pairwise(piece))


def test_a_pattern_is_cut_along_the_line_and_around_corners() -> None:
    pieces = cut(((0, 0), (10, 0), (10, 10)), [4, 2])
    assert pieces[0] == ((0, 0), (4, 0))
    assert pieces[1] == ((6, 0), (10, 0))
    assert pieces[2] == ((10, 2), (10, 6))
    assert pieces[3] == ((10, 8), (10, 10))
    assert len(pieces) == 4


@given(st.lists(st.tuples(st.integers(0, 99), st.integers(0, 99)), min_size=2, max_size=9))
def test_pieces_add_up_to_the_share_of_the_pattern(places: Any) -> None:
    whole = length([places])
    inked_px = length(cut(tuple(places), [3, 2]))
    assert inked_px <= whole + 1e-6
    assert abs(inked_px - whole * 3 / 5) <= 3
    assert cut(tuple(places), []) == [tuple(places)]


def test_each_colour_has_a_pattern_of_its_own() -> None:
    assert len(set(PATTERNS.values())) == len(COLOURS)
    line = Outline(((0.0, 0.0), (400.0, 0.0)))
    counts = {colour: len(inked(line, colour, 4.0, False)) for colour in COLOURS}
    assert counts["flag"] == 1 and len(set(counts.values())) == len(COLOURS)


@pytest.mark.parametrize("kind", GOOD)
@pytest.mark.parametrize("colour", COLOURS)
def test_what_is_printed_has_its_casing_first(kind: str, colour: str) -> None:
    shapes = shapes_of(kind, GOOD[kind], False, 1280, 720, colour)
    lines = [shape for shape in shapes if not isinstance(shape, Text)]
    cased = [shape.colour == CASING for shape in lines]
    assert any(cased) and not all(cased)
    assert cased == sorted(cased, reverse=True)
    assert {shape.colour for shape in lines} == {CASING, COLOURS[colour]}
    assert min(shape.width_px for shape in lines) == 4
    texts = [shape.text for shape in shapes if isinstance(shape, Text)]
    assert texts == ([label_of("joint", GOOD[kind], 1280, 720)] if kind == "joint" else [])


def test_a_solid_ring_is_printed_as_an_ellipse() -> None:
    shapes = shapes_of("ring", [[0.25, 0.25], [0.5, 0.75]], False, 1280, 720, "flag")
    assert shapes[-1] == Ellipse(480, 360, 160, 180, 4, COLOURS["flag"])
    dashed = shapes_of("ring", [[0.25, 0.25], [0.5, 0.75]], False, 1280, 720, "rope")
    assert all(isinstance(shape, Polyline) for shape in dashed[1:])
