"""Marks: anchored to a frame's PTS, placed once, the coach's to place and to take away."""

from __future__ import annotations

import datetime as dt
import json
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from clinics.models import Clip, Swim
from feedback.actions.frames import FrameUnknown, pts_ticks_of
from feedback.actions.mark import Placed, Row, place_mark, place_marks, take_mark_away
from feedback.models import Mark
from feedback.views.mark_list import flags_of, marks_of
from feedback.views.room_data import views_of
from portal.models import AuditEntry
from tests.cast import FPS, Cast, make_member, sign_in

JSON = {"accept": "application/json"}


def clip_of(cast: Cast, n: int = 1) -> Clip:
    clip = cast.clips["tomas"][n]
    clip.refresh_from_db()
    return clip


def placed(cast: Cast, frame: int, kind: str = "breakout", **more: Any) -> Mark:
    clip = clip_of(cast)
    told = {"swim": clip.swim, "by": cast.coach, "clip": clip, "frame": frame, "kind": kind}
    return place_mark(**{**told, **more})


def noted(action: str) -> int:
    return AuditEntry.objects.filter(action=action).count()


@pytest.mark.parametrize("frame", [0, 1, 57, 99])
def test_a_mark_stands_at_the_pts_of_its_frame(cast: Cast, frame: int) -> None:
    mark = placed(cast, frame)
    assert mark.recording == cast.recordings["underwater"]
    assert mark.pts_ticks == (clip_of(cast).first_frame + frame) * (90_000 // FPS)


@pytest.mark.parametrize("frame", [-1, 100])
def test_a_frame_that_is_not_there_takes_no_mark(cast: Cast, frame: int) -> None:
    with pytest.raises(FrameUnknown):
        placed(cast, frame)
    assert not Mark.objects.exists() and noted("mark-placed") == 0


def test_the_same_mark_again_changes_nothing(cast: Cast) -> None:
    first, again = placed(cast, 40), placed(cast, 40)
    assert first == again and Mark.objects.count() == 1 and noted("mark-placed") == 1
    placed(cast, 41)
    placed(cast, 40, kind="hands-touch-wall")
    placed(cast, 40, by=cast.checker)
    assert Mark.objects.count() == 4 and noted("mark-placed") == 4


def test_another_distance_on_the_same_frame_corrects_it(cast: Cast) -> None:
    placed(cast, 40, kind="head-at-distance", distance_m=10.0)
    placed(cast, 40, kind="head-at-distance", distance_m=15.0)
    assert Mark.objects.get().distance_m == 15.0
    assert noted("mark-placed") == 1 and noted("mark-changed") == 1


def test_taking_away_twice_is_noted_once(cast: Cast) -> None:
    mark = placed(cast, 40)
    take_mark_away(mark=mark, by=cast.coach)
    take_mark_away(mark=mark, by=cast.coach)
    assert not Mark.objects.exists() and noted("mark-taken-away") == 1


def seen(cast: Cast) -> list[Any]:
    swim = Swim.objects.get(pk=cast.swims["tomas"].pk)
    return marks_of(swim, cast.coach, views_of(swim, cast.coach))


def test_a_better_clock_fit_moves_the_time_and_not_the_mark(cast: Cast) -> None:
    mark = placed(cast, 40)
    (before,) = seen(cast)
    # drawn at 25 frames/s from 7 s on: the 40th frame begins 1.6 s later
    assert before.at_s == pytest.approx(7.0 + 40 / FPS, abs=1 / FPS)
    fit = cast.recordings["underwater"].clock_fit
    fit.zero_at += dt.timedelta(seconds=0.137)
    fit.save()
    (after,) = seen(cast)
    assert (after.view.key, after.frame) == (before.view.key, before.frame) == (before.view.key, 40)
    assert after.at_s - before.at_s == pytest.approx(0.137, abs=1e-6)
    mark.refresh_from_db()
    assert mark.pts_ticks == pts_ticks_of(clip_of(cast), 40)
    assert [flag.at_s for flag in flags_of([after])] == [after.at_s]


def test_a_start_signal_mark_leaves_the_swims_start_where_it_was(cast: Cast) -> None:
    before = cast.swims["tomas"].start_at
    placed(cast, 5, kind="start-signal")
    swim = Swim.objects.get(pk=cast.swims["tomas"].pk)
    assert (swim.start_at, swim.start_kind) == (before, "tap")


def test_a_mark_outside_every_view_keeps_its_time_and_leads_nowhere(cast: Cast) -> None:
    placed(cast, 99)
    Clip.objects.filter(pk=clip_of(cast).pk).update(frame_count=50)
    (mark,) = seen(cast)
    assert (mark.view, mark.frame) == (None, None) and mark.at_s is not None


def test_a_mark_without_a_clock_has_no_time(cast: Cast) -> None:
    placed(cast, 10)
    fit = cast.recordings["underwater"].clock_fit
    fit.zero_at, fit.state, fit.u_ms = None, "not-found", None
    fit.save()
    (mark,) = seen(cast)
    assert mark.at_s is None and mark.frame == 10 and flags_of([mark]) == ()


# --- by the page ------------------------------------------------------------------------------


def post(cast: Cast, by: Any, headers: Any = None, **fields: Any) -> Any:
    url = reverse("feedback:mark", args=[cast.swims["tomas"].pk])
    told = {"clip": str(clip_of(cast).pk), "frame": "40", "kind": "breakout", **fields}
    return sign_in(Client(), by).post(url, told, headers=headers or {})


def test_a_script_gets_all_marks_and_where_they_are(cast: Cast) -> None:
    answer = post(cast, cast.coach, JSON)
    assert answer.status_code == 200
    (mark,) = answer.json()["marks"]
    assert (mark["view"], mark["frame"]) == (str(clip_of(cast).pk), 40)
    assert (mark["label"], mark["by"], mark["mine"]) == (
        "head breaks surface",
        "Ines Aldana",
        True,
    )
    left = sign_in(Client(), cast.coach).post(mark["take_away"], headers=JSON).json()
    assert left["marks"] == []


def test_a_head_at_a_distance_says_which(cast: Cast) -> None:
    for distance, label in (("15", "head at 15 m"), ("7.5", "head at 7.5 m")):
        answer = post(cast, cast.coach, JSON, kind="head-at-distance", distance_m=distance)
        assert [mark["label"] for mark in answer.json()["marks"]] == [label]


def test_a_breakout_and_an_entry_may_say_their_distance(cast: Cast) -> None:
    """± is typed as what holds in 95 of 100 cases; stored is a standard uncertainty."""
    post(cast, cast.coach, JSON, distance_m="11.5", plus_minus_m="0.5")
    answer = post(cast, cast.coach, JSON, kind="first-entry", frame="10", distance_m="3.1")
    labels = [mark["label"] for mark in answer.json()["marks"]]
    assert labels == ["first entry, 3.1 m", "head breaks surface, 11.5 m"]
    out, entry = Mark.objects.order_by("kind")
    assert (out.distance_m, out.distance_u_m) == (11.5, pytest.approx(0.5 / 1.959964))
    assert (entry.distance_m, entry.distance_u_m) == (3.1, None)
    post(cast, cast.coach, JSON)  # the same again with nothing said: the distance stays
    out.refresh_from_db()
    assert out.distance_m == 11.5
    post(cast, cast.coach, JSON, distance_m="12")  # another distance, and no ± of the old one
    out.refresh_from_db()
    assert (out.distance_m, out.distance_u_m) == (12.0, None)
    post(cast, cast.coach, JSON, kind="feet-leave-wall", frame="60", distance_m="25")
    assert Mark.objects.get(kind="feet-leave-wall").distance_m is None  # a wall has its own


def test_a_mark_takes_its_place_in_the_picture_with_it_or_afterwards(cast: Cast) -> None:
    (mark,) = post(cast, cast.coach, JSON).json()["marks"]
    assert (mark["x"], mark["where"]) == (None, "")
    (mark,) = post(cast, cast.coach, JSON, x="0.25", y="0.5").json()["marks"]
    assert (mark["x"], mark["y"]) == (0.25, 0.5)
    assert mark["where"] == "with its place in the picture"
    assert (Mark.objects.count(), noted("mark-placed"), noted("mark-changed")) == (1, 1, 1)
    answer = post(cast, cast.coach, JSON, kind="head-at-distance", frame="50", x="0.3", y="0.5")
    assert answer.json()["marks"][1]["label"] == "head where it is in the picture"


def test_many_marks_at_once_are_one_record(cast: Cast) -> None:
    clip = clip_of(cast)
    rows = [
        Row("first-entry", clip, 10),
        Row("head-at-distance", clip, 30, Placed(distance_m=15.0)),
    ]
    assert place_marks(swim=clip.swim, by=cast.coach, rows=rows) == 2
    assert noted("mark-placed") == 1
    assert {mark.interval_ticks for mark in Mark.objects.all()} == {90_000 // FPS}
    with pytest.raises(FrameUnknown):
        place_marks(swim=clip.swim, by=cast.coach, rows=[rows[0], Row("breakout", clip, 100)])
    assert Mark.objects.count() == 2


def test_without_script_the_page_opens_at_the_marked_frame(cast: Cast) -> None:
    answer = post(cast, cast.coach)
    assert answer.status_code == 302
    assert answer["Location"].endswith(f"?view={clip_of(cast).pk}&at=40#marks")


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"clip": ""}, "It is not clear which picture this mark is for."),
        ({"frame": ""}, "Stop at a frame first."),
        ({"frame": "100"}, "This view has 100 frames; choose one of them."),
        ({"kind": "wave"}, "That is none of the events that can be marked."),
        ({"kind": "head-at-distance"}, "Say at which distance the head is, in metres, or where"),
        ({"kind": "head-at-distance", "distance_m": "far"}, "The distance is a number of metres"),
        ({"clip": "other"}, "That view is no longer there."),
        ({"distance_m": "0"}, "counted from the start wall, and at least 0.5 m."),
        ({"distance_m": "11", "plus_minus_m": "-1"}, "The ± of the distance is 0 m or more."),
        ({"plus_minus_m": "0.5"}, "Say the distance to which this ± belongs."),
        ({"x": "0.4"}, "That place is not in the picture."),
        ({"x": "0.4", "y": "1.2"}, "That place is not in the picture."),
        ({"x": "nan", "y": "0.5"}, "That place is not in the picture."),
    ],
)
def test_what_cannot_be_marked_is_said_in_a_sentence(
    cast: Cast, fields: dict[str, str], sentence: str
) -> None:
    if fields.get("clip") == "other":
        fields = {"clip": str(cast.clips["wren"][0].pk)}
    answer = post(cast, cast.coach, JSON, **fields)
    assert answer.status_code == 422 and sentence in " ".join(answer.json()["errors"])
    plain = post(cast, cast.coach, **fields)
    assert plain.status_code == 422 and sentence in plain.content.decode()
    assert not Mark.objects.exists()


def test_marks_are_the_coachs_and_each_takes_away_their_own(cast: Cast) -> None:
    for name, person in cast.people().items():
        allowed = name == "coach"
        assert (post(cast, person, JSON).status_code == 200) is allowed, name
    mark = Mark.objects.get()
    make_member(cast.harbour, cast.other_coach, "coach")  # a second coach of the clinic
    url = reverse("feedback:mark-take-away", args=[mark.pk])
    for name, person in cast.people().items():
        if name != "coach":
            assert sign_in(Client(), person).post(url).status_code in {404, 401}, name
            assert Mark.objects.filter(pk=mark.pk).exists(), name
    assert sign_in(Client(), cast.coach).post(url).status_code == 302
    assert not Mark.objects.exists()


def test_the_swimmer_reads_marks_and_has_no_buttons(cast: Cast) -> None:
    placed(cast, 40)
    url = reverse("feedback:swim", args=[cast.swims["tomas"].pk])
    page = sign_in(Client(), cast.tomas).get(url)
    assert "head breaks surface" in page.content.decode()
    assert b"data-mark-form" not in page.content and b"take away" not in _list_in(page.content)
    assert b"data-mark-form" in sign_in(Client(), cast.coach).get(url).content


def _list_in(page: bytes) -> bytes:
    return page.split(b"data-mark-list")[1].split(b"</ol>")[0]


def test_a_name_with_markup_stays_text(cast: Cast) -> None:
    cast.coach.name = "<b>Ines</b></script>"
    cast.coach.save()
    placed(cast, 40)
    url = reverse("feedback:swim", args=[cast.swims["tomas"].pk])
    page = sign_in(Client(), cast.coach).get(url).content.decode()
    assert "<b>Ines</b>" not in page
    data = page.split('id="swim-data"')[1].split(">", 1)[1].split("</script>")[0]
    assert json.loads(data)["marks"][0]["by"] == "<b>Ines</b></script>"


def test_what_is_no_view_at_all_is_a_view_that_is_not_there(cast: Cast) -> None:
    client = sign_in(Client(), cast.coach)
    where = reverse("feedback:mark", args=[cast.swims["tomas"].pk])
    asked = {"clip": "start side", "frame": 3, "kind": "breakout"}
    answer = client.post(where, asked, headers={"accept": "application/json"})
    assert answer.status_code == 422
    assert answer.json()["errors"] == ["That view is no longer there. Open the swim again."]
