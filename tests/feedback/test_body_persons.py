"""Points of the body are somebody's: taken along, erased with the person, asked about; and the
page of a swim asks for them as often for many frames as for one."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinics.actions.board.said import somebody_spoke
from feedback.actions.body import set_body_points
from feedback.actions.erase import erase_said, find_said
from feedback.models import BodyPoints, PicturePlane
from tests.cast import Cast, sign_in
from tests.feedback.erasing import person
from tests.feedback.measuring.bodies import on_screen
from tests.feedback.test_export import fetch, make


def put(cast: Cast, who: str, frame: int = 20, n: int = 1) -> None:
    clip = cast.clips[who][n]
    told: dict[str, Any] = {"swim": clip.swim, "clip": clip, "frame": frame, "points": on_screen()}
    set_body_points(**told, by=cast.coach, width_px=640, height_px=360)


def test_a_swimmer_takes_along_ones_own_points_and_what_they_tell(
    cast: Cast, client: Client
) -> None:
    put(cast, "tomas")
    put(cast, "wren")
    pack = fetch(client, make(cast, client))
    points = json.loads(pack.read("body-points.json"))
    assert {row["point"] for row in points} == set(on_screen()) and len(points) == len(on_screen())
    knee = next(row for row in points if row["point"] == "knee-left")
    assert (knee["x"], knee["y"]) == pytest.approx(on_screen()["knee-left"], abs=1e-6)
    assert knee["by"] == "Ines Aldana"
    angles = json.loads(pack.read("body-angles.json"))
    elbow = next(row for row in angles if (row["angle"], row["side"]) == ("elbow", "left"))
    assert elbow["degrees_as_seen"] == pytest.approx(128.78, abs=0.01)
    assert 1 < elbow["half_width_95"] < 12


def test_erasing_a_swimmer_names_and_deletes_the_points_on_their_swims(cast: Cast) -> None:
    put(cast, "tomas")
    put(cast, "tomas", 30)
    put(cast, "wren")
    assert find_said(person(cast)).rows["body-points"] == 2
    for _twice in range(2):
        erase_said(person(cast))
        assert [one.swim for one in BodyPoints.objects.all()] == [cast.swims["wren"]]


def test_a_swim_with_points_is_not_said_to_be_none_unasked(cast: Cast) -> None:
    assert not somebody_spoke(cast.swims["tomas"])
    put(cast, "tomas")
    assert somebody_spoke(cast.swims["tomas"]) and not somebody_spoke(cast.swims["wren"])


def test_a_swim_that_is_deleted_takes_its_points_with_it(cast: Cast) -> None:
    put(cast, "tomas")
    put(cast, "wren")
    cast.swims["tomas"].delete()
    assert [one.swim for one in BodyPoints.objects.all()] == [cast.swims["wren"]]


def asked(cast: Cast, user: Any) -> int:
    client = sign_in(Client(), user)
    url = reverse("feedback:swim", args=[cast.swims["tomas"].pk])
    client.get(url)  # what is read once per process
    with CaptureQueriesContext(connection) as queries:
        assert client.get(url).status_code == 200
    return len(queries)


@pytest.mark.parametrize("who", ["coach", "tomas"])
def test_the_page_asks_one_query_and_one_for_planes(cast: Cast, who: str) -> None:
    user = getattr(cast, who)
    PicturePlane.objects.create(
        recording=cast.recordings["underwater"],
        pts_ticks=0,
        points=[
            {"x": x, "y": y, "along_m": 10 * x, "across_m": 5 * y, "u_m": 0.02}
            for x, y in ((0.1, 0.1), (0.9, 0.1), (0.9, 0.9), (0.1, 0.9))
        ],
        picture_width=640,
        picture_height=360,
        placed_by=cast.coach,
    )
    none = asked(cast, user)
    put(cast, "tomas", 10)
    one = asked(cast, user)
    assert one == none  # the query that found none finds one
    for frame in (20, 30):
        put(cast, "tomas", frame)
    three = asked(cast, user)
    put(cast, "tomas", 40)
    put(cast, "tomas", 10, n=0)
    put(cast, "tomas", 20, n=0)
    assert three == asked(cast, user) == none + 1  # the planes of all views
