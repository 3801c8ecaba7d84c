"""Which stored plane holds on a frame, in one query, and what it says of a place."""

from __future__ import annotations

import datetime as dt
from typing import Any

import cv2
import numpy as np
import pytest

from clinics.compute.errors import BadInput
from feedback.actions.planes import held_planes
from feedback.models import PicturePlane
from tests.cast import Cast

# Computed with OpenCV 5.0.0 and scikit-image 0.26.0, which agree to 6e-14.
LANE = [(212, 318, 5, 0), (1706, 334, 15, 0), (1828, 742, 15, 2.5), (96, 716, 5, 2.5)]
WIDTH, HEIGHT = 1920, 1080
LATER = dt.timedelta(seconds=1)


def points_of(rows: Any = LANE, *, u_m: float = 0.02) -> list[dict[str, Any]]:
    return [
        {
            "x": px / WIDTH,
            "y": py / HEIGHT,
            "along_m": x,
            "across_m": y,
            "u_m": u_m,
            "what": "marker",
        }
        for px, py, x, y in rows
    ]


def plane_in(cast: Cast, name: str = "underwater", **more: Any) -> PicturePlane:
    told = {"points": points_of(), "picture_width": WIDTH, "picture_height": HEIGHT}
    its = {"pts_ticks": 0, "placed_by": cast.coach, **told, **more}
    return PicturePlane.objects.create(recording=cast.recordings[name], **its)


def test_a_stored_plane_reads_as_opencv_today(cast: Cast) -> None:
    recording = cast.recordings["underwater"].pk
    plane_in(cast)
    held = held_planes([recording]).at(recording, 0)
    assert held is not None
    picture = np.array([row[:2] for row in LANE], dtype=np.float32)
    metres = np.array([row[2:] for row in LANE], dtype=np.float32)
    theirs = cv2.getPerspectiveTransform(picture, metres)
    for px, py in ((960, 540), (600, 400), (1400, 650)):
        spot = held.spot(px / WIDTH, py / HEIGHT, "here")
        there = cv2.perspectiveTransform(np.array([[[px, py]]], dtype=np.float64), theirs)[0, 0]
        assert (spot.x.value, spot.y.value) == pytest.approx(tuple(there), abs=1e-4)
    spot = held.spot(960 / WIDTH, 540 / HEIGHT, "here")
    assert (spot.x.value, spot.y.value) == pytest.approx((10.03982, 1.41903), abs=6e-6)
    assert not spot.outside and held.spot(0.99, 0.1, "there").outside


@pytest.mark.parametrize(
    ("span", "holds"),
    [
        ((None, None), [True, True, True]),
        ((9000, None), [False, True, True]),
        ((None, 9000), [True, True, False]),
        ((9000, 9000), [False, True, False]),
    ],
)
def test_a_plane_holds_within_its_span_and_nowhere_else(
    cast: Cast, span: tuple[int | None, int | None], holds: list[bool]
) -> None:
    recording = cast.recordings["underwater"].pk
    plane_in(cast, from_ticks=span[0], to_ticks=span[1])
    planes = held_planes([recording])
    assert [planes.at(recording, ticks) is not None for ticks in (8999, 9000, 9001)] == holds
    assert planes.at(cast.recordings["start-side"].pk, 9000) is None


def test_the_newest_that_holds_counts(cast: Cast) -> None:
    recording = cast.recordings["underwater"].pk
    old = plane_in(cast)
    new = plane_in(cast, from_ticks=9000, placed_at=old.placed_at + LATER)
    planes = held_planes([recording])
    at = [planes.at(recording, ticks) for ticks in (0, 9000)]
    assert [one.key if one else None for one in at] == [str(old.pk), str(new.pk)]


@pytest.mark.parametrize(
    "points", [[], points_of()[:3], [{"x": 1}], [{**one, "x": "far"} for one in points_of()], [7]]
)
def test_marks_that_make_no_plane_any_more_give_none(cast: Cast, points: Any) -> None:
    recording = cast.recordings["underwater"].pk
    old = plane_in(cast)
    plane_in(cast, points=points, placed_at=old.placed_at + LATER)
    planes = held_planes([recording])
    assert planes.at(recording, 0) is None
    assert [one.fitted is None for one in planes.of(recording)] == [True, False]


def test_a_place_above_the_horizon_is_said_to_be_none(cast: Cast) -> None:
    recording = cast.recordings["underwater"].pk
    plane_in(cast)
    held = held_planes([recording]).at(recording, 0)
    assert held is not None
    with pytest.raises(BadInput, match="horizon"):
        held.spot(0.5, -30.0, "sky")


@pytest.mark.parametrize("count", [1, 3])
def test_one_query_for_any_number_of_planes(
    cast: Cast, count: int, django_assert_num_queries: Any
) -> None:
    for _n in range(count):
        plane_in(cast)
        plane_in(cast, "start-side")
    recordings = [cast.recordings[name].pk for name in ("underwater", "start-side")]
    with django_assert_num_queries(1):
        planes = held_planes(recordings)
        for recording in recordings:
            held = planes.at(recording, 0)
            assert held is not None and held.spot(0.5, 0.5, "a").x.value > 5
            assert held.row.placed_by is not None and held.row.placed_by.name
    with django_assert_num_queries(0):
        assert held_planes([]).at(recordings[0], 0) is None
