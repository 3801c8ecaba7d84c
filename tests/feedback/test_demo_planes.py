"""The demo's planes: marks stand on what is painted, and places of the scene read back."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from clinics.management.demo.backgrounds import VIEWS, background
from clinics.management.demo.scene import Painter
from clinics.management.demo.sprites import HEIGHT_PX, WIDTH_PX
from clinics.models import Station
from feedback.actions.planes import held_planes
from feedback.compute.measuring.plane import Known, Plane, fit_plane
from feedback.management.demo_planes import painted_marks, place_demo_planes
from feedback.models import PicturePlane
from tests.cast import Cast

STANDING = ("start-side", "underwater", "turn-window")
# places a swimmer passes: along, above the surface
PLACES = {
    "start-side": [(1.0, 0.1), (2.0, -0.2), (0.5, 0.0)],
    "underwater": [(11.5, -0.6), (12.5, -0.2), (13.5, -1.0)],
    "turn-window": [(24.35, -0.5), (23.0, -0.4), (24.0, -1.0)],
}


def plane_of(kind: str) -> Plane:
    marks = [
        Known(one.x * WIDTH_PX, one.y * HEIGHT_PX, one.along_m, one.across_m, one.u_m)
        for one in painted_marks(kind, 25.0)
    ]
    return fit_plane(marks, key="demo")


@pytest.mark.parametrize("kind", STANDING)
def test_places_of_the_scene_read_back_within_their_plus_minus(kind: str) -> None:
    """The painter says where a place is; it scales and moves, and knows no planes."""
    plane, painter = plane_of(kind), Painter(kind, [], 1.0)
    for x_m, z_m in PLACES[kind]:
        spot = plane.spot(*painter._pixel(x_m, z_m, 0), "here")
        assert abs(spot.x.value - x_m) <= spot.x.half_width_95 < 0.25
        assert abs(spot.y.value - z_m) <= spot.y.half_width_95 < 0.25
        assert not spot.outside


@pytest.mark.parametrize("kind", STANDING)
def test_marks_stand_on_something_that_is_painted(kind: str) -> None:
    """At each mark the picture changes within nine pixels: an edge, a line or a float."""
    picture = np.asarray(background(VIEWS[kind], 0).convert("L"), dtype=float)
    for one in painted_marks(kind, 25.0):
        px, py = round(one.x * WIDTH_PX), round(one.y * HEIGHT_PX)
        around = picture[max(py - 9, 0) : py + 10, max(px - 9, 0) : px + 10]
        assert around.max() - around.min() > 12, (kind, one)


def test_planes_are_placed_once_on_what_stands_still(cast: Cast, tmp_path: Path) -> None:
    (tmp_path / "truth.json").write_text(json.dumps({"course_m": 25.0}))
    told: dict[str, Any] = {"clinic": cast.clinic, "folder": tmp_path, "by": cast.coach}
    assert place_demo_planes(**told) == 2  # the cast's start side and underwater
    assert place_demo_planes(**told) == 0
    recording = cast.recordings["underwater"]
    held = held_planes([recording.pk]).at(recording.pk, 12_345)
    assert held is not None and held.under_water and held.row.lies == "upright"
    x, y = (12.5 - 10) * 128 / WIDTH_PX, (96 + 0.5 * 128) / HEIGHT_PX
    spot = held.spot(x, y, "hips")
    assert spot.x.value == pytest.approx(12.5, abs=0.03)
    assert spot.y.value == pytest.approx(-0.5, abs=0.03)


def test_a_camera_that_turns_along_gets_none(cast: Cast, tmp_path: Path) -> None:
    (tmp_path / "truth.json").write_text(json.dumps({"course_m": 25.0}))
    Station.objects.filter(clinic=cast.clinic).update(kind="deck")
    assert place_demo_planes(clinic=cast.clinic, folder=tmp_path, by=cast.coach) == 0
    assert not PicturePlane.objects.exists()
