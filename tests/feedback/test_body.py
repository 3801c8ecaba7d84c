"""Points of the body: set on a frame, told at once, the coach's to set and to take away."""

from __future__ import annotations

import datetime as dt
import json
import math
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinics.models import Clip, Swim
from feedback.actions.body import choose_body_table, set_body_points, take_body_points_away
from feedback.actions.body_told import body_of, ways_of
from feedback.actions.frames import FrameUnknown
from feedback.compute.measuring.body.figures import Kind
from feedback.compute.measuring.body.points import PointsWrong
from feedback.models import BodyPoints, PicturePlane
from feedback.views.body_list import bodies_shown
from feedback.views.room_data import views_of
from portal.models import AuditEntry
from tests.cast import FPS, Cast, make_member, sign_in
from tests.feedback.measuring.bodies import SIZE, on_screen

JSON = {"accept": "application/json"}


def clip_of(cast: Cast, n: int = 1) -> Clip:
    clip = cast.clips["tomas"][n]
    clip.refresh_from_db()
    return clip


def put(cast: Cast, frame: int = 40, **more: Any) -> BodyPoints:
    told: dict[str, Any] = {"by": cast.coach, "clip": clip_of(cast), "points": on_screen()}
    told |= {"width_px": SIZE[0], "height_px": SIZE[1], **more}
    body = set_body_points(swim=told["clip"].swim, frame=frame, **told)
    assert body is not None
    return body


def noted(action: str) -> int:
    return AuditEntry.objects.filter(action=action).count()


# --- setting and taking away ---------------------------------------------------------------------


@pytest.mark.parametrize("frame", [0, 57, 99])
def test_points_stand_at_the_pts_of_their_frame(cast: Cast, frame: int) -> None:
    body = put(cast, frame)
    assert body.recording == cast.recordings["underwater"]
    assert body.pts_ticks == (clip_of(cast).first_frame + frame) * (90_000 // FPS)
    assert body.interval_ticks == 90_000 // FPS
    assert (body.picture_width, body.picture_height) == SIZE


def test_points_are_sent_one_by_one_and_stand_once_with_one_record(cast: Cast) -> None:
    points = on_screen()
    for n in range(1, len(points) + 1):
        put(cast, points=dict(list(points.items())[:n]))
    put(cast, points=points)
    body = BodyPoints.objects.get()
    assert {name: at[:2] for name, at in body.points.items()} == {
        name: [round(x, 6), round(y, 6)] for name, (x, y) in points.items()
    }
    assert noted("body-points-set") == 1 and noted("body-points-changed") == 0


def test_a_change_another_day_is_noted(cast: Cast) -> None:
    put(cast)
    earlier = timezone.now() - dt.timedelta(hours=3)
    BodyPoints.objects.update(placed_at=earlier)
    put(cast)  # nothing changed
    assert noted("body-points-changed") == 0
    put(cast, points={**on_screen(), "ear": [0.5, 0.5]})
    put(cast, points={**on_screen(), "ear": [0.5, 0.6]})
    assert noted("body-points-changed") == 1


@pytest.mark.parametrize("frame", [-1, 100])
def test_a_frame_that_is_not_there_takes_no_points(cast: Cast, frame: int) -> None:
    with pytest.raises(FrameUnknown):
        put(cast, frame)
    assert not BodyPoints.objects.exists() and not AuditEntry.objects.exists()


def test_points_that_cannot_be_leave_what_was_there(cast: Cast) -> None:
    before = put(cast).points
    with pytest.raises(PointsWrong):
        put(cast, points={"elbow-left": [1.2, 0.5]})
    assert BodyPoints.objects.get().points == before


def test_the_last_point_taken_away_takes_the_frame_with_it(cast: Cast) -> None:
    put(cast)
    clip = clip_of(cast)
    told: dict[str, Any] = {
        "swim": clip.swim,
        "clip": clip,
        "frame": 40,
        "points": {},
        "by": cast.coach,
    }
    for _twice in range(2):
        assert set_body_points(**told, width_px=640, height_px=360) is None
    assert not BodyPoints.objects.exists() and noted("body-points-taken-away") == 1


def test_taking_away_twice_is_noted_once(cast: Cast) -> None:
    body = put(cast)
    take_body_points_away(body=body, by=cast.coach)
    take_body_points_away(body=body, by=cast.coach)
    assert not BodyPoints.objects.exists() and noted("body-points-taken-away") == 1


def test_a_table_is_for_all_frames_that_one_person_set_on_the_swim(cast: Cast) -> None:
    put(cast, 10)
    put(cast, 20)
    put(cast, 10, by=cast.checker)
    swim = clip_of(cast).swim
    assert choose_body_table(swim=swim, by=cast.coach, table="winter") == 2
    assert choose_body_table(swim=swim, by=cast.coach, table="winter") == 0
    tables = {(one.placed_by, one.table) for one in BodyPoints.objects.all()}
    assert tables == {(cast.coach, "winter"), (cast.checker, "de-leva-mean")}
    assert put(cast, 30).table == "winter" and noted("body-table-chosen") == 1
    other = Clip.objects.get(pk=cast.clips["wren"][0].pk)
    elsewhere = put(cast, 5, clip=other)
    assert elsewhere.table == "de-leva-mean"


# --- what is told; the pure part: tests/feedback/measuring/test_body_figures.py -----------------


def test_stored_points_tell_the_angles_and_the_centre_of_checks(cast: Cast) -> None:
    """Arithmetic on de Leva's table and on the same points, done apart from this code: elbow
    128.7822, knee 163.3755 degrees, trunk 2.2906 upward; centre of a man (1.397144, 0.974136)."""
    body = body_of(put(cast, table="de-leva-male"))
    found = {(one.kind, one.side and one.side.value): one.quantity for one in body.angles}
    for key, value in (
        ((Kind.ELBOW, "left"), 128.7822),
        ((Kind.KNEE, "right"), 163.3755),
        ((Kind.TRUNK, None), -2.2906),  # positive would be the shoulders lower
    ):
        assert found[key].value == pytest.approx(value, abs=2e-3), key
        assert 0.5 < found[key].half_width_95 < 12
    assert body.has_centre and body.centre.at is not None
    x, y = body.centre.at
    assert (x / 220, 1.6 - y / 220) == pytest.approx((1.397144, 0.974136), abs=1e-4)


def plane_for(cast: Cast, **more: Any) -> PicturePlane:
    """A camera square to the lane: 220 pixels a metre, whose left edge is at 3 m."""
    corners = [(0.1, 0.1), (0.9, 0.1), (0.9, 0.9), (0.1, 0.9)]
    points = [
        {"x": x, "y": y, "along_m": 3 + x * 640 / 220, "across_m": y * 360 / 220, "u_m": 0.01}
        for x, y in corners
    ]
    told = {"recording": cast.recordings["underwater"], "pts_ticks": 0, "placed_by": cast.coach}
    size = {"picture_width": 640, "picture_height": 360}
    return PicturePlane.objects.create(**told, points=points, **{**size, **more})


def shifted(by_px: float) -> dict[str, list[float]]:
    return {name: [x + by_px / SIZE[0], y] for name, (x, y) in on_screen().items()}


def test_the_centre_moves_at_the_speed_that_was_imposed(cast: Cast) -> None:
    """22 px in 2 frames of 25 a second, at 220 px a metre: 0.1 m in 0.08 s."""
    plane_for(cast)
    rows = [put(cast, 40), put(cast, 42, points=shifted(22.0))]
    (way,) = ways_of(body_of(row) for row in rows)
    (between,) = way.between
    assert between.step is not None and not between.outside
    along = between.step.along
    rate = 1 + cast.recordings["underwater"].clock_fit.rate_ppm * 1e-6
    assert along.value == pytest.approx(0.1 / (0.08 * rate), rel=1e-4)
    # two centres, each of clicks of 1.5 px weighted by mass, over 0.08 s
    u_px = [body_of(row).centre_u_px for row in rows]
    expected = math.hypot(*u_px) / 220 / 0.08
    assert along.u == pytest.approx(expected, rel=0.1)
    assert 0 < u_px[0] < 1.5


def test_no_speed_without_a_plane_between_other_parts_or_other_tables(cast: Cast) -> None:
    rows = [put(cast, 40), put(cast, 45)]
    assert whys(rows) == ["plane"]
    plane_for(cast)
    assert whys(rows) == [""]
    fewer = {name: at for name, at in on_screen().items() if name != "wrist-left"}
    assert whys([*rows, put(cast, 50, points=fewer)]) == ["", "parts"]
    plane_for(cast, from_ticks=rows[1].pts_ticks)
    assert whys(rows) == ["two-planes"]
    only_an_arm = {name: at for name, at in on_screen().items() if "left" in name}
    assert ways_of([body_of(rows[0]), body_of(put(cast, 60, points=only_an_arm))]) == []


def whys(rows: list[BodyPoints]) -> list[str]:
    (way,) = ways_of(body_of(row) for row in rows)
    return [one.why_not for one in way.between]


def test_points_of_two_people_are_two_ways(cast: Cast) -> None:
    rows = [put(cast, f, by=by) for f in (10, 20) for by in (cast.coach, cast.checker)]
    assert [len(way.bodies) for way in ways_of(body_of(row) for row in rows)] == [2, 2]
    BodyPoints.objects.update(placed_by=None)  # they are no longer here
    rows = list(BodyPoints.objects.all())
    assert [len(way.bodies) for way in ways_of(body_of(row) for row in rows)] == [2]


# --- the fence -----------------------------------------------------------------------------------


def test_whoever_sees_the_swim_with_what_is_said_sees_its_points(cast: Cast) -> None:
    put(cast)
    clip = cast.clips["sol"][0]
    told: dict[str, Any] = {
        "swim": clip.swim,
        "clip": clip,
        "frame": 5,
        "points": on_screen(),
        "by": cast.coach,
    }
    set_body_points(**told, width_px=640, height_px=360)
    seen = {
        who: sorted(str(one.swim.entry.swimmer.name) for one in rows)
        for who, user in cast.people().items()
        if user is not None
        for rows in [BodyPoints.objects.visible_to(user)]
    }
    assert seen.pop("swimmer") == ["Tomas Birk"]
    assert seen.pop("coach") == ["Tomas Birk"]
    assert seen.pop("swimmer who withdrew") == ["Sol Hagen"]
    assert set(map(tuple, seen.values())) == {()}


# --- by the page ---------------------------------------------------------------------------------


def post(cast: Cast, by: Any, headers: Any = None, name: str = "body", **fields: Any) -> Any:
    url = reverse(f"feedback:{name}", args=[cast.swims["tomas"].pk])
    told = {"clip": str(clip_of(cast).pk), "frame": "40", "points": json.dumps(on_screen())}
    return sign_in(Client(), by).post(url, {**told, **fields}, headers=headers or {})


def test_a_script_gets_all_points_and_what_they_tell(cast: Cast) -> None:
    answer = post(cast, cast.coach, JSON, table="de-leva-female")
    assert answer.status_code == 200
    told = answer.json()
    (body,) = told["bodies"]
    assert (body["view"], body["frame"], body["mine"]) == (str(clip_of(cast).pk), 40, True)
    assert body["share"] == "100\u00a0%" and body["labels"] == []
    centre = [1.399279 * 220 / 640, (1.6 - 0.975358) * 220 / 360]  # a woman's, as above
    assert body["centre"] == pytest.approx(centre, abs=2e-6)
    page = told["html"]
    assert "Elbow, left" in page and "129° ±\xa0" in page and "turned by 20°" in page
    assert "Body line, hands to hips" in page and "the entry angle" in page and "PMC7598512" in page
    assert "picture's own horizontal" in page and "young adults" in page


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"points": '{"elbow-left": [1.01, 0.5]}'}, "elbow, left lies beyond the picture"),
        ({"points": '{"elbow-left": [0.5, -0.1]}'}, "elbow, left lies beyond the picture"),
        ({"points": '{"tail": [0.5, 0.5]}'}, "no point of the body is called tail"),
        ({"points": '{"elbow": [0.5, 0.5]}'}, "no point of the body is called elbow"),
        ({"points": '{"elbow-left": [0.5]}'}, "could not be read"),
        ({"points": '{"elbow-left": [0.5, NaN]}'}, "could not be read"),
        ({"points": '{"elbow-left": [0.5, 1%s]}' % ("0" * 400)}, "could not be read"),
        ({"points": "[[0.5, 0.5]]"}, "could not be read"),
        ({"points": "{" * 9000}, "could not be read"),
        ({"points": ""}, "there are none"),
        ({"points": json.dumps({"a" * 50_000: [0.5, 0.5]})}, "too many of them"),
        (
            {"points": '{"elbow-left": [0.5, 0.5], "wrist-left": [0.5, 0.5]}'},
            "elbow, left, wrist, left are all at one place",
        ),
        (
            {"points": '{"level-1": [0.5, 0.1], "level-2": [0.51, 0.9]}'},
            "steeper than 45°",
        ),
        ({"points": '{"level-1": [0.5, 0.5], "level-2": [0.505, 0.5]}'}, "too close together"),
        ({"frame": "100"}, "this view has 100 frames"),
        ({"frame": "-1"}, "the first one is number 0"),
        ({"frame": ""}, "stop at a frame first"),
        ({"clip": "8c1f0c9e-7f0e-4a53-9d2c-0d5d8f2f7a11"}, "no longer there"),
        ({"clip": ""}, "not clear which picture"),
        ({"table": "tables"}, "none of the tables"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_is_kept(
    cast: Cast, wrong: dict[str, str], says: str
) -> None:
    answer = post(cast, cast.coach, JSON, **wrong)
    assert answer.status_code == 422
    assert says in " ".join(answer.json()["errors"])
    assert not BodyPoints.objects.exists()


def test_both_sides_of_a_joint_may_lie_over_each_other(cast: Cast) -> None:
    points = '{"hip-left": [0.5, 0.5], "hip-right": [0.5, 0.5], "hips": [0.5, 0.5]}'
    assert post(cast, cast.coach, JSON, points=points).status_code == 200


def test_another_swims_view_takes_no_points(cast: Cast) -> None:
    answer = post(cast, cast.coach, JSON, clip=str(cast.clips["wren"][0].pk))
    assert answer.status_code == 422 and not BodyPoints.objects.exists()


def test_without_a_script_the_page_comes_back(cast: Cast) -> None:
    answer = post(cast, cast.coach)
    assert answer.status_code == 302 and answer["location"].endswith("#body")
    refused = post(cast, cast.coach, points='{"elbow-left": [2, 0.5]}')
    assert refused.status_code == 422 and b"elbow, left lies beyond the picture" in refused.content


def test_the_table_is_chosen_by_a_form(cast: Cast) -> None:
    put(cast)
    assert post(cast, cast.coach, name="body-table", table="winter").status_code == 302
    assert BodyPoints.objects.get().table == "winter"
    told = post(cast, cast.coach, JSON, name="body-table", table="de-leva-male").json()
    assert len(told["bodies"]) == 1 and BodyPoints.objects.get().table == "de-leva-male"
    wrong = post(cast, cast.coach, JSON, name="body-table", table="")
    assert wrong.status_code == 422 and "choose one" in wrong.json()["errors"][0]


def test_ones_own_points_are_taken_away_and_nobody_elses(cast: Cast) -> None:
    other = make_coach(cast)
    body = put(cast)
    url = reverse("feedback:body-take-away", args=[body.pk])
    for user in (other, cast.tomas, cast.other_coach):
        assert sign_in(Client(), user).post(url).status_code == 404
    assert BodyPoints.objects.exists()
    assert sign_in(Client(), cast.coach).post(url).status_code == 302
    assert not BodyPoints.objects.exists()


def make_coach(cast: Cast) -> Any:
    make_member(cast.harbour, cast.checker, "coach")
    return cast.checker


def test_swimmers_read_words_and_find_the_figures_behind_them(cast: Cast) -> None:
    put(cast)
    url = reverse("feedback:swim", args=[cast.swims["tomas"].pk])
    page = sign_in(Client(), cast.tomas).get(url).content.decode()
    plain, behind = page.split("Show the figures")
    assert "about 130° as seen" in plain and "±" not in plain.split("data-body-list")[1]
    assert "129° ±\xa0" in behind
    assert "data-body-box" not in page and "take away</button>" not in behind.split("</section>")[0]
    another = sign_in(Client(), cast.wren).get(url)
    assert another.status_code == 404 or b"129\xc2\xb0" not in another.content


def test_two_figures_of_the_same_frame_stand_beside_each_other(cast: Cast) -> None:
    put(cast)
    put(cast, by=make_coach(cast))
    swim = Swim.objects.get(pk=cast.swims["tomas"].pk)
    shown = bodies_shown(swim, cast.coach, views_of(swim, cast.coach))
    assert [one.mine for one in shown].count(True) == 1 and len(shown) == 2
