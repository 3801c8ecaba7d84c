"""Metres in a picture by the page: placing, refusals by number, spans, reading, who may."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest
from django.test import Client
from django.urls import reverse

from clinics.models import Clip, Station, Swim
from feedback.actions.frames import pts_ticks_of
from feedback.actions.planes import held_planes
from feedback.models import PicturePlane
from feedback.views.planes_list import planes_of
from feedback.views.room_data import views_of
from portal.models import AuditEntry
from tests.cast import Cast, make_member, make_user, sign_in

JSON = {"accept": "application/json"}
# an imposed plane, of a picture of 640 by 360 px (as in tests/feedback/measuring/test_plane.py)
TRUE = np.array([[0.02, 0.001, -1.0], [0.0005, 0.035, -3.0], [1e-5, 2e-4, 1]])
WIDTH, HEIGHT = 640, 360
PLACES = [(60, 110), (600, 104), (620, 330), (30, 340), (320, 200), (200, 300)]


def true_m(px: float, py: float) -> tuple[float, float]:
    u, v, w = TRUE @ np.array([px, py, 1.0])
    return float(u / w), float(v / w)


def set_marks(count: int = 4, **more: Any) -> list[dict[str, Any]]:
    marks = []
    for px, py in PLACES[:count]:
        along_m, across_m = true_m(px, py)
        place = {"x": px / WIDTH, "y": py / HEIGHT, "along_m": along_m, "across_m": across_m}
        marks.append({**place, "what": "marker", "plus_minus_cm": 4, **more})
    return marks


@pytest.fixture
def filmed(cast: Cast) -> Cast:
    """The views' largest pictures are 640 by 360 px."""
    for clip in cast.clips["tomas"]:
        clip.files.filter(kind="video").update(width=WIDTH, height=HEIGHT)
    return cast


def clip_of(cast: Cast, n: int = 1) -> Clip:
    clip = cast.clips["tomas"][n]
    clip.refresh_from_db()
    return clip


def post(cast: Cast, by: Any, marks: Any = None, **fields: Any) -> Any:
    told = {"clip": str(clip_of(cast).pk), "frame": "40", "span": "whole", "lies": "flat"}
    told["marks"] = json.dumps(set_marks() if marks is None else marks)
    url = reverse("feedback:plane-place", args=[cast.swims["tomas"].pk])
    return sign_in(Client(), by).post(url, {**told, **fields}, headers=JSON)


def refused(answer: Any) -> str:
    assert answer.status_code == 422 and not PicturePlane.objects.exists()
    assert not AuditEntry.objects.filter(action="plane-placed").exists()
    return " ".join(answer.json()["errors"])


def read(cast: Cast, by: Any, *points: tuple[float, float], frame: int = 40) -> Any:
    names = (("x", "y"), ("x2", "y2"))
    told: dict[str, Any] = {"clip": str(clip_of(cast).pk), "frame": frame}
    for (px, py), (across, down) in zip(points, names, strict=False):
        told |= {across: px / WIDTH, down: py / HEIGHT}
    url = reverse("feedback:plane-reading", args=[cast.swims["tomas"].pk])
    return sign_in(Client(), by).get(url, told).json()


def test_a_plane_that_was_placed_reads_back_what_was_imposed(filmed: Cast) -> None:
    answer = post(filmed, filmed.coach, set_marks(6), distance_m="10")
    assert answer.status_code == 200
    row = PicturePlane.objects.get()
    assert (row.recording, row.placed_by) == (filmed.recordings["underwater"], filmed.coach)
    assert row.pts_ticks == pts_ticks_of(clip_of(filmed), 40)
    assert (row.from_ticks, row.to_ticks, row.under_water) == (None, None, True)
    assert (row.picture_width, row.picture_height) == (WIDTH, HEIGHT)
    assert row.points[0]["u_m"] == pytest.approx(0.02)  # ± 4 cm, 19 times of 20
    held = held_planes([row.recording_id]).at(row.recording_id, 0)
    assert held is not None
    for px, py in ((100, 150), (400, 250)):
        spot = held.spot(px / WIDTH, py / HEIGHT, "a")
        assert (spot.x.value, spot.y.value) == pytest.approx(true_m(px, py), abs=1e-5)
    entry = AuditEntry.objects.get(action="plane-placed")
    detail = json.loads(entry.text)["detail"]
    assert detail["swim"] == str(clip_of(filmed).swim_id) and detail["marks"] == 6


def test_the_same_again_stands_once(filmed: Cast) -> None:
    for _n in range(2):
        assert len(post(filmed, filmed.coach).json()["planes"]) == 1
    assert PicturePlane.objects.count() == 1
    assert AuditEntry.objects.filter(action="plane-placed").count() == 1


def changed(n: int, **more: Any) -> list[dict[str, Any]]:
    marks = set_marks()
    marks[n] = {**marks[n], **more}
    return marks


CROSSED = [
    {"x": x, "y": y, "along_m": a, "across_m": b, "what": "wall", "plus_minus_cm": 2}
    for x, y, a, b in [(0.1, 0.1, 0, 0), (0.9, 0.1, 10, 0), (0.9, 0.9, 0, 10), (0.1, 0.9, 10, 10)]
]
IN_A_ROW = [
    {"x": x, "y": y, "along_m": a, "across_m": b, "what": "wall", "plus_minus_cm": 2}
    for x, y, a, b in [(0.1, 0.1, 0, 0), (0.5, 0.1, 5, 0), (0.9, 0.1, 10, 0), (0.1, 0.9, 0, 10)]
]


@pytest.mark.parametrize(
    ("marks", "says"),
    [
        (set_marks(3), ["there are 3", "Set 1 more"]),
        (IN_A_ROW, ["Marks: 1, 2, 3 lie in one line in the picture"]),
        (CROSSED, ["Marks 1 and 2 look mixed up, or marks 3 and 4", "change their places over"]),
        (changed(2, x=1.2), ["Mark 3: it lies beyond the picture"]),
        (changed(1, along_m=61), ["Mark 2: 61 m along", "walls are at 0 m and 25 m"]),
        (changed(1, along_m=None), ["Mark 2: say how many metres"]),
        (changed(3, across_m="wide"), ["Mark 4: say how many metres it is across"]),
        (changed(3, across_m=900), ["Mark 4: 900 m across is no place in a pool"]),
        (changed(0, plus_minus_cm=0), ["Mark 1: say how well its place is known"]),
        (changed(0, what="a buoy"), ["Mark 1: say what it is"]),
        (changed(0, what=["wall"]), ["Mark 1: say what it is"]),
        ([*set_marks(), set_marks()[1]], ["Marks 2 and 5", "same point of the picture"]),
        (changed(1, along_m=float("nan")), ["Mark 2: say how many metres"]),
        (changed(1, along_m=10**400), ["Mark 2: say how many metres"]),
        ([1, 2, 3, 4], ["could not be read"]),
        ({"x": 1}, ["could not be read"]),
        (set_marks(4) * 11, ["At most 40 marks"]),
    ],
)
def test_marks_that_make_no_plane_are_refused_by_number_and_nothing_is_saved(
    filmed: Cast, marks: Any, says: list[str]
) -> None:
    told = refused(post(filmed, filmed.coach, marks))
    assert all(part in told for part in says), told


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"marks": "[" * 9000}, "could not be read"),
        ({"marks": ""}, "could not be read"),
        ({"marks": "9" * 30_000}, "could not be read"),
        ({"frame": "100"}, "This view has 100 frames"),
        ({"frame": ""}, "not clear which picture"),
        ({"span": "ever"}, "for which frames it holds"),
        ({"lies": "askew"}, "lies on the water or stands upright"),
        ({"distance_m": "0.1"}, "from 0.3 m to 100 m"),
        ({"distance_m": "far"}, "a number of metres"),
        ({"clip": "00000000-0000-4000-8000-000000000000"}, "no longer there"),
    ],
)
def test_what_else_is_wrong_is_said(filmed: Cast, fields: dict[str, str], says: str) -> None:
    assert says in refused(post(filmed, filmed.coach, **fields))


def test_a_view_of_another_swim_takes_no_marks(filmed: Cast) -> None:
    other = filmed.clips["wren"][0]
    assert "no longer there" in refused(post(filmed, filmed.coach, clip=str(other.pk)))


@pytest.mark.parametrize(
    ("span", "holds"),
    [
        ("whole", [True, True, True]),
        ("on", [False, True, True]),
        ("until", [True, True, False]),
        ("frame", [False, True, False]),
    ],
)
def test_a_plane_holds_for_the_frames_that_were_said(
    filmed: Cast, span: str, holds: list[bool]
) -> None:
    (plane,) = post(filmed, filmed.coach, span=span).json()["planes"]
    first, last = plane["spans"][str(clip_of(filmed).pk)]
    assert [first <= frame <= last for frame in (39, 40, 41)] == holds
    said = [bool(read(filmed, filmed.coach, (320, 200), frame=n).get("said")) for n in (39, 40, 41)]
    assert said == holds
    later = clip_of(filmed, 2)  # another pass by the same camera, later in the same recording
    assert (str(later.pk) in plane["spans"]) == (span in {"whole", "on"})


@pytest.mark.parametrize("moves", [{"kind": "deck"}, {"fixed_mount": False}])
def test_a_camera_that_moves_takes_metres_for_one_frame_only(
    filmed: Cast, moves: dict[str, Any]
) -> None:
    Station.objects.filter(pk=filmed.underwater.pk).update(**moves)
    told = refused(post(filmed, filmed.coach))
    assert "hold on this frame only" in told and "mark the head at a distance" in told
    assert post(filmed, filmed.coach, span="frame").status_code == 200
    assert read(filmed, filmed.coach, (320, 200))["said"]
    for frame in (39, 41):
        assert read(filmed, filmed.coach, (320, 200), frame=frame)["errors"] == [
            "No metres are set in this picture."
        ]


# --- what it says -------------------------------------------------------------------------------


def look(cast: Cast, marks: Any, **fields: Any) -> Any:
    answer = post(cast, cast.coach, marks, only_look="1", **fields)
    assert answer.status_code == 200 and not PicturePlane.objects.exists()
    return answer.json()


def test_a_look_says_how_the_marks_fit_and_saves_nothing(filmed: Cast) -> None:
    assert "Four marks always fit" in look(filmed, set_marks())["fit"][0]
    marks = set_marks(6)
    marks[3]["x"] += 25 / WIDTH
    average, worst = look(filmed, marks)["fit"]
    assert average.startswith("The 6 marks are ") and " cm in the pool" in average
    assert worst.startswith(
        ("Mark 4 fits least: it is 24.9 px", "Mark 4 fits least: it is 25.0 px")
    )
    assert "there are 3" in look(filmed, set_marks(3))["errors"][0]


def test_cautions_come_with_their_size(filmed: Cast) -> None:
    """12.5 % to first order for half a lane at 10 m; 1.407 and 1.549 against 1.333 through a flat
    port (Snell's law): similar triangles and refraction, computed."""
    beside, port, *_more = look(filmed, set_marks(), distance_m="10")["cautions"]
    assert "14.3 % too long" in beside and "11.1 % too short" in beside and "half a lane" in beside
    assert "by 6 % at 20°" in port and "by 16 % at 30°" in port
    assert "Say how far the camera is" in look(filmed, set_marks())["cautions"][0]
    Station.objects.filter(pk=filmed.underwater.pk).update(port="dome")
    assert not any("flat port" in one for one in look(filmed, set_marks())["cautions"])


def test_a_camera_above_the_water_does_not_measure_below_it(filmed: Cast) -> None:
    clip = clip_of(filmed, 0)  # from the start side
    said = " ".join(look(filmed, set_marks(), clip=str(clip.pk))["cautions"])
    assert "cannot measure what is below the surface" in said and "flat port" not in said


def test_rope_floats_are_named_with_what_they_are_worth(filmed: Cast) -> None:
    marks = set_marks(6)
    for n in (1, 3):
        marks[n]["what"] = "float"
    said = look(filmed, marks)["cautions"][-1]
    assert said.startswith("Marks 2, 4 are rope floats") and "clubs often lack them" in said


def test_a_reading_has_its_plus_minus_for_coaches_and_none_for_the_swimmer(filmed: Cast) -> None:
    post(filmed, filmed.coach, set_marks(6))
    along_m, _across_m = true_m(320, 200)
    (said,) = read(filmed, filmed.coach, (320, 200))["said"]
    figures, _rest = said.replace("\u00a0", " ").split(" along, ")
    value, half = (float(part.removesuffix(" m")) for part in figures.split(" ± "))
    assert abs(value - along_m) <= half and 0.01 < half < 0.2
    (plain,) = read(filmed, filmed.tomas, (320, 200))["said"]
    assert plain.startswith("about ") and "±" not in plain
    (far,) = read(filmed, filmed.coach, (100, 150), (400, 250))["said"]
    true = np.hypot(*(np.array(true_m(400, 250)) - np.array(true_m(100, 150))))
    distance, half = (float(p.split()[0]) for p in far.replace("\u00a0", " ").split(" ± "))
    assert abs(distance - true) <= half
    outside = read(filmed, filmed.coach, (10, 20))["said"]
    assert outside[-1] == "Not between the marks: the further out, the less sure."


def test_a_reading_that_cannot_be_says_why(filmed: Cast) -> None:
    assert read(filmed, filmed.coach, (1, 1))["errors"] == ["No metres are set in this picture."]
    post(filmed, filmed.coach)
    assert "same one" in read(filmed, filmed.coach, (9, 9), (9, 9))["errors"][0]
    assert "not within the picture" in read(filmed, filmed.coach, (-9, 9))["errors"][0]


def test_an_upright_plane_reads_above_and_below_the_surface(filmed: Cast) -> None:
    marks = [{**one, "across_m": -one["across_m"] / 3} for one in set_marks()]
    assert post(filmed, filmed.coach, marks, lies="upright").status_code == 200
    (said,) = read(filmed, filmed.coach, (320, 200))["said"]
    assert said.endswith(" below the surface.")


# --- who ---------------------------------------------------------------------------------------


def page(cast: Cast, by: Any, swim: str = "tomas") -> str:
    url = reverse("feedback:swim", args=[cast.swims[swim].pk])
    return sign_in(Client(), by).get(url).content.decode()


def test_the_swimmer_sees_the_planes_and_sets_none(filmed: Cast) -> None:
    post(filmed, filmed.coach)
    assert post(filmed, filmed.tomas, set_marks(5)).status_code == 404
    row = PicturePlane.objects.get()
    own = page(filmed, filmed.tomas)
    assert filmed.coach.name in own and str(row.pk) in own
    assert "data-plane-set" not in own and "Take away" not in own
    away = reverse("feedback:plane-take-away", args=[filmed.swims["tomas"].pk, row.pk])
    assert sign_in(Client(), filmed.tomas).post(away).status_code == 404


def test_a_plane_on_a_shared_recording_tells_nothing_of_another_swim(filmed: Cast) -> None:
    """Wren was filmed by the same cameras: what is set in her pass is not told on Tomas's page
    unless it holds there, and never whose pass it was."""
    post(filmed, filmed.coach, span="frame")
    wren = page(filmed, filmed.wren, "wren")
    assert str(PicturePlane.objects.get().pk) not in wren
    PicturePlane.objects.all().delete()
    post(filmed, filmed.coach, span="whole")
    hers = [
        clip for clip in filmed.clips["wren"] if clip.recording_id == clip_of(filmed).recording_id
    ]
    wren = page(filmed, filmed.wren, "wren")
    assert (str(PicturePlane.objects.get().pk) in wren) == bool(hers)
    assert filmed.tomas.name not in wren and str(clip_of(filmed).pk) not in wren


def test_any_coach_of_the_clinic_takes_a_plane_away_and_the_record_says_who(filmed: Cast) -> None:
    post(filmed, filmed.coach)
    row = PicturePlane.objects.get()
    other = make_user("nils@example.org", "Nils Bergqvist")
    make_member(filmed.harbour, other, "coach")
    swim = filmed.swims["tomas"]
    away = reverse("feedback:plane-take-away", args=[swim.pk, row.pk])
    assert sign_in(Client(), filmed.other_coach).post(away).status_code == 404
    elsewhere = reverse("feedback:plane-take-away", args=[filmed.swims["other"].pk, row.pk])
    assert sign_in(Client(), filmed.other_coach).post(elsewhere).status_code == 404
    answer = sign_in(Client(), other).post(away, headers=JSON)
    assert answer.json() == {"planes": []} and not PicturePlane.objects.exists()
    entry = AuditEntry.objects.get(action="plane-taken-away")
    assert entry.actor_id == other.pk
    assert json.loads(entry.text)["detail"]["placed_by"] == str(filmed.coach.pk)
    assert sign_in(Client(), other).post(away).status_code == 404


def test_without_a_script_taking_away_leads_back_to_the_page(filmed: Cast) -> None:
    post(filmed, filmed.coach)
    swim = filmed.swims["tomas"]
    away = reverse("feedback:plane-take-away", args=[swim.pk, PicturePlane.objects.get().pk])
    assert away in page(filmed, filmed.coach)
    answer = sign_in(Client(), filmed.coach).post(away)
    assert answer.status_code == 302 and answer["location"].endswith("#planes")


@pytest.mark.parametrize("count", [1, 3])
def test_the_list_asks_once_however_many_there_are(
    filmed: Cast, count: int, django_assert_num_queries: Any
) -> None:
    for n in range(count):
        post(filmed, filmed.coach, set_marks(4 + n))
    swim = Swim.objects.select_related("entry__clinic").get(pk=filmed.swims["tomas"].pk)
    views = views_of(swim, filmed.coach)
    with django_assert_num_queries(1):
        shown = planes_of(swim, views, coaching=True)
        assert len([one.for_script() for one in shown]) == count
        assert [len(one.held.row.points) for one in shown] == list(range(3 + count, 3, -1))


def test_a_plane_that_is_broken_is_said_and_shows_no_lines(filmed: Cast) -> None:
    post(filmed, filmed.coach)
    PicturePlane.objects.update(points=[7])
    swim = Swim.objects.select_related("entry__clinic").get(pk=filmed.swims["tomas"].pk)
    (shown,) = planes_of(swim, views_of(swim, filmed.coach), coaching=True)
    told = shown.for_script()
    assert (told["lines"], told["marks"]) == ([], [])
    assert told["said"] == ["Its marks make no plane any more. Take it away and set others."]
    assert "Its marks make no plane any more." in page(filmed, filmed.tomas)
    assert read(filmed, filmed.coach, (320, 200))["errors"] == [
        "No metres are set in this picture."
    ]


def test_nothing_half_written_stays(filmed: Cast, monkeypatch: Any) -> None:
    def broken(**_told: Any) -> None:
        raise RuntimeError("the record could not be written")

    monkeypatch.setattr("feedback.actions.planes_place.record", broken)
    with pytest.raises(RuntimeError):
        post(filmed, filmed.coach)
    assert not PicturePlane.objects.exists()
