"""The drawn pool plan: one scale, cones by trigonometry, nothing outside, labels.

Outside evidence: backstroke flags 5.00 m from each end wall (DSV rule 132(4)) and the false-start
rope 15.00 m from the start end (DSV 132(5)), both in schwimmen-wssv.de/WB/Aktuell/WB-SW132.htm;
15 m marks from both ends (FINA FR 3.8, value from memory); 0.9144 m a yard (exact since 1959,
value from memory), so 22.86 m for 25 yards; lanes of 2.5 m (FINA FR 3.7, fina.org, article 366).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinics.compute.plan_drawing import (
    Across,
    AcrossKind,
    PlanDrawing,
    Rect,
    draw_plan,
    to_drawing,
    to_metres,
)
from clinics.compute.plan_drawing.labels import overlap, touches
from clinics.compute.sight import Pool, Port, Stand

quick = settings(max_examples=60, deadline=None)
KINDS = ("start-side", "underwater", "turn-window", "deck")
FIFTY = Pool(course_m=50.0, lanes=6)
USUAL = [
    Stand("start", "start-side", 2.5, -1.6, 1.6),
    Stand("water", "underwater", 25.0, 5.0, -0.5),
    Stand("deck", "deck", 27.5, -2.2, 1.6),
    Stand("turn", "turn-window", 50.0, 1.25, -0.5),
]
NAMES = {"start": "Start side", "water": "Underwater 25 m", "deck": "Deck", "turn": "Turn window"}


def drawn(
    pool: Pool = FIFTY,
    stands: list[Stand] | None = None,
    *,
    width_px: float = 360.0,
    distance_m: float = 75.0,
    starter_m: tuple[float, float] = (0.0, -1.0),
    **more: object,
) -> PlanDrawing:
    return draw_plan(
        pool,
        USUAL if stands is None else stands,
        distance_m=distance_m,
        starter_m=starter_m,
        width_px=width_px,
        **more,  # type: ignore[arg-type]
    )


@st.composite
def plans(draw: st.DrawFn) -> PlanDrawing:
    """Any pool, with up to six stations as far out as a plan's file lets them be (20 m)."""
    number = draw(st.integers(0, 6))
    course_m = draw(st.floats(5.0, 200.0))
    deck_m = draw(st.floats(0.0, 8.0))
    pool = Pool(course_m, draw(st.integers(1, 20)), draw(st.floats(1.0, 3.0)), deck_m)
    x, y = st.floats(-20.0, course_m + 20.0), st.floats(-20.0, pool.width_m + 20.0)
    z, angle = st.floats(-6.0, 20.0), st.floats(2.0, 160.0)
    aim = st.none() | st.tuples(x, y)
    stand = st.builds(
        Stand, st.uuids().map(str), st.sampled_from(KINDS), x, y, z, angle,
        st.none() | st.sampled_from(Port), aim,
    )  # fmt: skip
    stands = [draw(stand) for _ in range(number)]
    names = {s.key: draw(st.text("abcdé m25泳", max_size=30)) for s in stands}
    return drawn(
        pool,
        stands,
        width_px=draw(st.sampled_from([320.0, 360.0, 1080.0])),
        distance_m=draw(st.floats(5.0, 1500.0)),
        starter_m=(draw(x), draw(y)),
        names=names,
    )


def corners(points: str) -> list[tuple[float, float]]:
    pairs = (pair.split(",") for pair in points.split())
    return [(float(x), float(y)) for x, y in pairs]


def rect_corners(*rects: Rect | None) -> Iterator[tuple[float, float]]:
    for rect in rects:
        if rect:
            yield from ((rect.x, rect.y), (rect.right, rect.bottom))


def everything(drawing: PlanDrawing) -> Iterator[tuple[float, float]]:
    """Each place that is drawn, marks with the circle that takes the finger."""
    yield from rect_corners(
        drawing.deck, drawing.water, drawing.starter, drawing.climb_out.room, *drawing.blocks
    )
    yield from rect_corners(*(lane.rect for lane in drawing.lanes))
    lines = [drawing.start_wall, drawing.far_wall, drawing.arrow.shaft]
    lines += [rope.line for rope in drawing.ropes] + [line.line for line in drawing.across]
    for mark in drawing.marks:
        for sign in (-1, 1):
            yield mark.x + sign * drawing.sizes.touch_r, mark.y + sign * drawing.sizes.touch_r
        yield from corners(mark.cone)
        yield from rect_corners(mark.seen, mark.label.box if mark.label else None)
        lines += [mark.label.leader] if mark.label and mark.label.leader else []
    for line in lines:
        yield from ((line.x1, line.y1), (line.x2, line.y2))
    yield from corners(drawing.arrow.head)
    yield drawing.climb_out.x, drawing.climb_out.y
    yield from ((tick.x, tick.label_y) for tick in drawing.ticks)


# --- Scale ------------------------------------------------------------------------------------


@quick
@given(plans())
def test_nothing_is_drawn_outside_the_view_box(drawing: PlanDrawing) -> None:
    zero_x, zero_y, width, height = map(float, drawing.view_box.split())
    assert (zero_x, zero_y) == (0.0, 0.0)
    for x, y in everything(drawing):
        assert 0 <= x <= width and 0 <= y <= height


@quick
@given(plans(), st.integers(-2000, 22000), st.integers(-2000, 7000))
def test_what_goes_to_the_drawing_comes_back_the_same(
    drawing: PlanDrawing, x_cm: int, y_cm: int
) -> None:
    place = (x_cm / 100, y_cm / 100)
    assert to_metres(drawing, *to_drawing(drawing, *place)) == place
    assert to_drawing(drawing, *to_metres(drawing, *place)) == place


@quick
@given(plans())
def test_a_metre_is_as_long_along_as_across(drawing: PlanDrawing) -> None:
    x, y = to_drawing(drawing, 0.0, 0.0)
    assert (x, y) == (drawing.water.x, drawing.water.y)
    along, across = to_drawing(drawing, 3.0, 0.0)[0] - x, to_drawing(drawing, 0.0, 3.0)[1] - y
    assert along == pytest.approx(3.0) and across == pytest.approx(3.0)


def test_an_olympic_pool_is_as_long_and_wide_as_the_rules_say() -> None:
    """50 m and eight lanes of 2.5 m: on the drawing 2.5 times as long as wide."""
    drawing = drawn(Pool(course_m=50.0, lanes=8))
    assert (drawing.water.width, drawing.water.height) == (50.0, 20.0)
    assert [lane.rect.height for lane in drawing.lanes] == [2.5] * 8
    assert [rope.number for rope in drawing.ropes] == [1, 2, 3, 4, 5, 6, 7]


@pytest.mark.parametrize("width_px", [360.0, 1080.0])
@pytest.mark.parametrize(("course_m", "lanes"), [(5.0, 1), (25.0, 5), (200.0, 1), (50.0, 20)])
def test_marks_and_type_look_the_same_on_every_pool(
    course_m: float, lanes: int, width_px: float
) -> None:
    """As shown: 24 px of room for a finger either way, type of 14 px, to a centimetre."""
    drawing = drawn(Pool(course_m=course_m, lanes=lanes), [], width_px=width_px)
    px_per_m = width_px / drawing.width
    assert drawing.sizes.touch_r * px_per_m == pytest.approx(24.0, abs=0.01 * px_per_m)
    assert drawing.sizes.font * px_per_m == pytest.approx(14.0, abs=0.01 * px_per_m)


@pytest.mark.parametrize(
    ("pool", "width_px"),
    [
        (Pool(4.9, 4), 360.0), (Pool(201.0, 4), 360.0), (Pool(25.0, 0), 360.0),
        (Pool(25.0, 21), 360.0), (Pool(25.0, 4), 100.0), (Pool(math.nan, 4), 360.0),
    ],
)  # fmt: skip
def test_what_cannot_be_drawn_is_refused(pool: Pool, width_px: float) -> None:
    with pytest.raises(ValueError, match="drawn"):
        drawn(pool, [], width_px=width_px)


# --- The pool ---------------------------------------------------------------------------------


def at_m(across: tuple[Across, ...], kind: AcrossKind) -> list[float]:
    return [line.at_m for line in across if line.kind is kind]


@pytest.mark.parametrize(
    ("course_m", "flags_m", "fifteen_m"),
    [
        (50.0, [5.0, 45.0], [15.0, 35.0]),
        (25.0, [5.0, 20.0], [10.0, 15.0]),
        (30.0, [5.0, 25.0], [15.0]),
        (12.0, [5.0, 7.0], []),
        (5.0, [], []),
    ],
)
def test_flags_and_15_m_marks_hang_where_the_rules_say(
    course_m: float, flags_m: list[float], fifteen_m: list[float]
) -> None:
    """DSV 132(4) and (5), FINA FR 3.8: from each end wall."""
    drawing = drawn(Pool(course_m=course_m, lanes=4), [])
    assert at_m(drawing.across, AcrossKind.FLAGS) == flags_m
    assert at_m(drawing.across, AcrossKind.FIFTEEN) == fifteen_m
    for line in drawing.across:
        assert line.line.x1 == line.line.x2 == to_drawing(drawing, line.at_m, 0.0)[0]
        assert (line.line.y1, line.line.y2) == (drawing.water.y, drawing.water.bottom)


def test_a_course_of_25_yards() -> None:
    """25 * 0.9144 m; its flags at 15 feet, 4.57 m (value from memory), if so asked."""
    drawing = drawn(Pool(25 * 0.9144, 6), [], flags_m=15 * 0.3048, distance_m=50 * 0.9144)
    assert drawing.water.width == 22.86
    assert at_m(drawing.across, AcrossKind.FLAGS) == [4.57, 18.29]
    assert at_m(drawing.across, AcrossKind.FIFTEEN) == [7.86, 15.0]
    assert [tick.at_m for tick in drawing.ticks] == [0.0, 5.0, 10.0, 15.0, 22.86]
    assert drawing.ticks[-1].last and drawing.ticks[-1].x == drawing.far_wall.x1
    assert drawing.climb_out.at_m == 0.0
    assert at_m(drawn(Pool(22.86, 6), []).across, AcrossKind.FLAGS) == [5.0, 17.86]


def test_swimmers_climb_out_at_the_swum_lanes_side() -> None:
    """75 m in a pool of 50: 25 m from the start wall, on the way back."""
    drawing = drawn()
    assert drawing.climb_out.at_m == 25.0
    assert (drawing.climb_out.x, drawing.climb_out.y) == to_drawing(drawing, 25.0, 0.0)
    assert drawing.climb_out.room.bottom == drawing.swum.rect.y == drawing.water.y


def test_the_rope_that_comes_out_leaves_a_lane_clear() -> None:
    drawing = drawn(ropes_out={1, 3})
    assert [rope.out for rope in drawing.ropes] == [True, False, True, False, False]
    assert [lane.swum for lane in drawing.lanes] == [True] + [False] * 5
    assert [lane.kept_clear for lane in drawing.lanes] == [False, True] + [False] * 4


def test_blocks_stand_behind_the_start_wall_in_the_middle_of_lanes() -> None:
    drawing = drawn()
    assert {block.right for block in drawing.blocks} == {drawing.start_wall.x1}
    middles = [block.y + block.height / 2 for block in drawing.blocks]
    assert middles == pytest.approx(
        [lane.rect.y + lane.rect.height / 2 for lane in drawing.lanes], abs=0.01
    )


def test_the_arrow_points_away_from_the_start_wall_in_the_swum_lane() -> None:
    drawing = drawn()
    tip, *others = corners(drawing.arrow.head)
    assert all(tip[0] > x for x, _y in others)
    assert tip[0] > drawing.arrow.shaft.x2 - 1e-9 > drawing.arrow.shaft.x1
    assert tip[1] == to_drawing(drawing, 0.0, 1.25)[1]


@quick
@given(plans())
def test_the_scales_figures_do_not_meet(drawing: PlanDrawing) -> None:
    """A figure is at most “200”, about 22 px. Where somebody stands so far off that a short pool
    is drawn shorter than its figures, the far wall's alone is left."""
    px_per_m = drawing.sizes.width_px / drawing.width
    gaps_px = [(b.x - a.x) * px_per_m for a, b in itertools.pairwise(drawing.ticks)]
    assert all(gap >= 30 for gap in gaps_px)
    assert drawing.ticks[-1].last
    assert drawing.ticks[0].at_m == 0.0 or drawing.water.width * px_per_m < 46.5


# --- Stations ---------------------------------------------------------------------------------


def test_a_cone_of_45_degrees_by_trigonometry() -> None:
    """In air, straight across, tan(22.5°) = 0.41421. From 2 m behind the edge of a pool of four
    lanes the deck ends 2 + 10 + 5 = 17 m away: ± 17 * 0.41421 = ± 7.04 m; drawn 10 m far, ± 4.14 m.
    The camera is no higher than the water, so looking down opens nothing."""
    pool = Pool(course_m=50.0, lanes=4)
    deck = Stand("d", "deck", 25.0, -2.0, 0.0, 45.0, aim_m=(25.0, 1.25))
    drawing = drawn(pool, [deck])
    expected = {(25.0, -2.0), (25.0 - 7.04, 15.0), (25.0 + 7.04, 15.0)}
    assert {to_metres(drawing, *at) for at in corners(drawing.marks[0].cone)} == expected
    near = drawn(pool, [deck], reach_m=10.0)
    expected = {(25.0, -2.0), (25.0 - 4.14, 8.0), (25.0 + 4.14, 8.0)}
    assert {to_metres(near, *at) for at in corners(near.marks[0].cone)} == expected


def test_the_seen_band_of_an_underwater_camera_by_trigonometry() -> None:
    """45° through a flat port: sin(22.5°) / 1.333 = 0.28708, so 16.683° and, 3.75 m away,
    ± 3.75 * tan(16.683°) = ± 1.12 m of the lane's middle line."""
    drawing = drawn(stands=[Stand("u", "underwater", 25.0, 5.0, -0.5, 45.0)])
    seen = drawing.marks[0].seen
    assert seen is not None
    assert to_metres(drawing, seen.x, seen.y) == (25.0 - 1.12, 0.0)
    assert to_metres(drawing, seen.right, seen.bottom) == (25.0 + 1.12, 2.5)


def test_the_seen_band_ends_at_the_walls() -> None:
    """A start camera sees the deck behind the start wall, too; that is no part of the lane."""
    seen = drawn(stands=[Stand("s", "start-side", 0.0, -3.0, 0.0, 90.0)]).marks[0].seen
    assert seen is not None and seen.x == drawn().water.x
    seen = drawn(stands=[Stand("e", "deck", 50.0, -3.0, 0.0, 90.0)]).marks[0].seen
    assert seen is not None and seen.right == drawn().water.right
    away = Stand("a", "deck", 25.0, -2.0, 1.6, bearing_deg=-90.0)
    assert drawn(stands=[away]).marks[0].seen is None


def test_a_camera_that_looks_away_from_the_water_has_no_cone() -> None:
    away = Stand("a", "underwater", 25.0, 0.0, -0.5, bearing_deg=-90.0)
    assert drawn(stands=[away]).marks[0].cone == ""


@quick
@given(plans())
def test_labels_lie_on_no_mark_and_no_label(drawing: PlanDrawing) -> None:
    labels = [mark.label for mark in drawing.marks]
    boxes = [label.box for label in labels if label]
    assert len(boxes) == len(labels)
    for box in boxes:
        assert not overlap(box, drawing.starter)
        for mark in drawing.marks:
            assert not touches(box, mark.x, mark.y, drawing.sizes.mark_r)
    assert not any(overlap(one, other) for one, other in itertools.combinations(boxes, 2))


def test_names_stand_beside_their_marks_on_a_wide_page() -> None:
    drawing = drawn(width_px=1080.0, names=NAMES)
    labels = [mark.label for mark in drawing.marks]
    assert [label.text for label in labels if label] == list(NAMES.values())
    assert all(label and label.leader is None for label in labels)


def test_a_name_too_long_for_a_phone_gives_way_to_the_number() -> None:
    label = drawn(names={"deck": "Deck, walks along after 25 metres until they are out"}).marks[2]
    assert label.label and label.label.text == "3"


def test_six_stations_at_one_place_still_have_a_label_each() -> None:
    stands = [Stand(str(n), "deck", 25.0, -1.0, 1.6) for n in range(6)]
    drawing = drawn(Pool(200.0, 1), stands, names={s.key: f"Camera {s.key}" for s in stands})
    labels = [mark.label for mark in drawing.marks]
    assert all(labels)
    assert any(label and label.leader for label in labels)
    assert len({(mark.x, mark.y) for mark in drawing.marks}) == 1
