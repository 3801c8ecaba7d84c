"""Drawings: anchored to a frame's PTS, drafts until feedback is sent, notes never to the
swimmer, one's own to move and to rub out."""

from __future__ import annotations

import datetime as dt
import json
import uuid
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from clinics.models import Clip, Swim
from feedback.actions.draw import draw, move, rub_out, send_drafts, send_with, stand, take_up
from feedback.actions.frames import FrameUnknown, pts_ticks_of
from feedback.compute.drawing import PointsWrong
from feedback.models import Comment, Drawing
from feedback.views.drawn_list import Drawn, drawings_of, with_drawings
from feedback.views.room_data import views_of
from portal.models import AuditEntry
from tests.cast import FPS, Cast, sign_in

JOINT = [[0.2, 0.3], [0.4, 0.5], [0.7, 0.5]]  # in 16:9: 151 degrees


def clip_of(cast: Cast, n: int = 1) -> Clip:
    clip = cast.clips["tomas"][n]
    clip.refresh_from_db()
    return clip


def drawn(cast: Cast, frame: int = 40, **more: Any) -> Drawing:
    clip = clip_of(cast)
    told = {"swim": clip.swim, "by": cast.coach, "clip": clip, "frame": frame, "kind": "joint"}
    size = {"points": JOINT, "width_px": 640, "height_px": 360}
    return draw(**{**told, **size, **more})


def noted(action: str) -> int:
    return AuditEntry.objects.filter(action=action).count()


def seen(cast: Cast, by: Any = None) -> list[Drawn]:
    swim = Swim.objects.get(pk=cast.swims["tomas"].pk)
    user = by or cast.coach
    return drawings_of(swim, user, views_of(swim, user))


# --- anchors ----------------------------------------------------------------------------------


@pytest.mark.parametrize(("frame", "until"), [(0, None), (57, 57), (57, 58), (98, 99)])
def test_a_drawing_stands_at_the_pts_of_its_frames(
    cast: Cast, frame: int, until: int | None
) -> None:
    drawing = drawn(cast, frame, until_frame=until)
    first = clip_of(cast).first_frame
    assert drawing.recording == cast.recordings["underwater"]
    assert drawing.pts_ticks == (first + frame) * (90_000 // FPS)
    expected = None if until in (None, frame) else (first + until) * (90_000 // FPS)
    assert drawing.until_ticks == expected
    (shown,) = seen(cast)
    assert (shown.frame, shown.until_frame) == (frame, frame if until is None else until)


@pytest.mark.parametrize(("frame", "until"), [(-1, None), (100, None), (40, 100), (40, 39)])
def test_frames_that_are_not_there_take_no_drawing(
    cast: Cast, frame: int, until: int | None
) -> None:
    with pytest.raises(FrameUnknown):
        drawn(cast, frame, until_frame=until)
    assert not Drawing.objects.exists() and noted("drawn-draft") == 0


def test_a_better_clock_fit_moves_the_time_and_not_the_drawing(cast: Cast) -> None:
    drawing = drawn(cast, 40, until_frame=60)
    (before,) = seen(cast)
    fit = cast.recordings["underwater"].clock_fit
    fit.zero_at += dt.timedelta(seconds=0.137)
    fit.save()
    (after,) = seen(cast)
    assert after.view and before.view
    assert (after.view.key, after.frame, after.until_frame) == (before.view.key, 40, 60)
    assert after.at_s is not None and before.at_s is not None
    assert after.at_s - before.at_s == pytest.approx(0.137, abs=1e-6)
    drawing.refresh_from_db()
    assert drawing.pts_ticks == pts_ticks_of(clip_of(cast), 40)
    assert drawing.points == JOINT


@pytest.mark.parametrize(
    ("first", "count", "expected"),
    [(-25, 200, (65, 85)), (50, 50, (0, 10)), (0, 50, (40, 49)), (61, 39, None), (0, 40, None)],
)
def test_a_clip_cut_anew_shows_it_on_the_same_pictures(
    cast: Cast, first: int, count: int, expected: tuple[int, int] | None
) -> None:
    drawn(cast, 40, until_frame=60)
    clip = clip_of(cast)
    begins = clip.first_frame + first
    Clip.objects.filter(pk=clip.pk).update(first_frame=begins, frame_count=count)
    (shown,) = seen(cast)
    assert (shown.frame, shown.until_frame) == (expected or (None, None))
    assert (shown.view is None) == (expected is None) and shown.at_s is not None


# --- drafts, notes, comments ---------------------------------------------------------------------


def test_a_coachs_drawing_is_a_draft_until_it_is_sent(cast: Cast) -> None:
    drawing = drawn(cast)
    assert drawing.sent_at is None and noted("drawn-draft") == 1
    assert [one.drawing for one in seen(cast)] == [drawing]
    assert seen(cast, cast.tomas) == []
    drawn(cast, 41, by=cast.coach, for_coaches=True)
    assert send_drafts(swim=clip_of(cast).swim, by=cast.checker) == 0
    assert send_drafts(swim=clip_of(cast).swim, by=cast.coach) == 1
    assert [one.drawing for one in seen(cast, cast.tomas)] == [drawing]
    assert send_drafts(swim=clip_of(cast).swim, by=cast.coach) == 0


def test_a_swimmers_drawing_goes_at_once(cast: Cast) -> None:
    drawing = drawn(cast, by=cast.tomas)
    assert drawing.sent_at is not None and noted("drawn") == 1
    assert [(one.drawing, one.mine) for one in seen(cast)] == [(drawing, False)]


def test_a_note_is_never_the_swimmers(cast: Cast) -> None:
    drawing = drawn(cast, for_coaches=True)
    assert drawing.sent_at is not None
    assert [one.state for one in seen(cast)] == ["for coaches"]
    assert seen(cast, cast.tomas) == []
    with pytest.raises(PermissionDenied):
        drawn(cast, by=cast.tomas, for_coaches=True)


def comment_of(cast: Cast, frame: int = 40, **more: Any) -> Comment:
    clip = clip_of(cast)
    told = {"swim": clip.swim, "recording": clip.recording, "author": cast.coach, "text": "Reach."}
    return Comment.objects.create(**{**told, "pts_ticks": pts_ticks_of(clip, frame), **more})


def test_what_belongs_to_a_note_is_one(cast: Cast) -> None:
    note = comment_of(cast, for_coaches=True, sent_at=timezone.now())
    drawing = drawn(cast, comment=note)
    assert drawing.for_coaches and seen(cast, cast.tomas) == []


def test_words_take_up_what_was_drawn_on_their_pictures(cast: Cast) -> None:
    clip = clip_of(cast)
    here, within, beyond = drawn(cast, 40), drawn(cast, 50), drawn(cast, 61)
    swimmers = drawn(cast, 45, by=cast.tomas)
    comment = comment_of(cast, 40, until_ticks=pts_ticks_of(clip, 60))
    assert take_up(comment=comment) == 2
    belongs = {row.pk: row.comment_id for row in Drawing.objects.all()}
    assert belongs[here.pk] == belongs[within.pk] == comment.pk
    assert belongs[beyond.pk] is belongs[swimmers.pk] is None
    assert take_up(comment=comment_of(cast, 41)) == 0
    assert take_up(comment=Comment.objects.create(swim=clip.swim, text="All in all")) == 0
    comment.sent_at = timezone.now()
    assert send_with(comment=comment) == 2
    sent = {one.drawing.pk for one in seen(cast, cast.tomas)}
    assert sent == {here.pk, within.pk, swimmers.pk}


def test_a_note_takes_up_drafts_and_not_what_the_swimmer_sees(cast: Cast) -> None:
    sent = drawn(cast)
    send_drafts(swim=sent.swim, by=cast.coach)
    draft = drawn(cast)
    assert take_up(comment=comment_of(cast, for_coaches=True, sent_at=timezone.now())) == 1
    assert [one.drawing for one in seen(cast, cast.tomas)] == [sent]
    draft.refresh_from_db()
    assert draft.for_coaches and draft.sent_at is not None


def test_what_was_drawn_is_said_with_the_angle_as_seen(cast: Cast) -> None:
    drawn(cast)
    drawn(cast, 41, kind="trace", points=[[0.1, 0.1], [0.5, 0.5]])
    assert [one.words for one in seen(cast)] == ["joint, about 151° as seen", "trace"]
    assert with_drawings(seen(cast)) == "with: joint, about 151° as seen; trace"
    assert with_drawings([]) == ""


# --- one's own -----------------------------------------------------------------------------------


def test_moving_keeps_the_frame_and_is_noted_once(cast: Cast) -> None:
    drawing = drawn(cast)
    moved = [[0.2, 0.3], [0.4, 0.5], [0.4, 0.9]]
    move(drawing=drawing, by=cast.coach, points=moved)
    move(drawing=drawing, by=cast.coach, points=moved)
    after = Drawing.objects.get()
    assert (after.points, after.pts_ticks) == (moved, drawing.pts_ticks)
    assert noted("drawing-moved") == 1
    with pytest.raises(PointsWrong):
        move(drawing=drawing, by=cast.coach, points=moved[:2])


def test_nobody_moves_or_rubs_out_what_somebody_else_drew(cast: Cast) -> None:
    drawing = drawn(cast)
    move(drawing=drawing, by=cast.tomas, points=JOINT[::-1])
    rub_out(drawing=drawing, by=cast.tomas)
    assert Drawing.objects.get().points == JOINT
    assert noted("drawing-moved") == noted("drawing-rubbed-out") == 0


def test_rubbing_out_twice_is_noted_once(cast: Cast) -> None:
    drawing = drawn(cast)
    rub_out(drawing=drawing, by=cast.coach)
    rub_out(drawing=drawing, by=cast.coach)
    assert not Drawing.objects.exists() and noted("drawing-rubbed-out") == 1


def test_sent_twice_it_stands_once_and_a_taken_key_is_refused(cast: Cast) -> None:
    key = uuid.uuid4()
    assert drawn(cast, key=key) == drawn(cast, key=key)
    assert Drawing.objects.count() == 1 and noted("drawn-draft") == 1
    with pytest.raises(PermissionDenied):
        drawn(cast, key=key, by=cast.tomas)


def until_of(drawing: Drawing) -> int | None:
    return Drawing.objects.get(pk=drawing.pk).until_ticks


def test_how_long_it_stands_is_changed_and_noted_once(cast: Cast) -> None:
    drawing, clip = drawn(cast, 40, until_frame=41), clip_of(cast)
    for until in (65, 65, 99):  # frame 99 is the clip's last
        stand(drawing=drawing, by=cast.coach, clip=clip, until_frame=until)
        assert until_of(drawing) == pts_ticks_of(clip, until)
    assert noted("drawing-stands") == 2
    stand(drawing=drawing, by=cast.coach, clip=clip, until_frame=40)  # its frame alone
    assert until_of(drawing) is None and noted("drawing-stands") == 3
    assert Drawing.objects.get().pts_ticks == drawing.pts_ticks
    detail = json.loads(AuditEntry.objects.filter(action="drawing-stands").latest("at").text)[
        "detail"
    ]
    assert (detail["until_ticks_before"], detail["until_ticks"]) == (pts_ticks_of(clip, 99), None)


@pytest.mark.parametrize("until", [39, 100])
def test_it_never_ends_before_it_begins_nor_outside_its_clip(cast: Cast, until: int) -> None:
    drawing = drawn(cast, 40, until_frame=44)
    with pytest.raises(FrameUnknown):
        stand(drawing=drawing, by=cast.coach, clip=clip_of(cast), until_frame=until)
    with pytest.raises(FrameUnknown):  # another recording's clip
        stand(drawing=drawing, by=cast.coach, clip=clip_of(cast, 0), until_frame=60)
    assert until_of(drawing) == pts_ticks_of(clip_of(cast), 44) and noted("drawing-stands") == 0


def test_nobody_changes_how_long_somebody_elses_stands(cast: Cast) -> None:
    drawing = drawn(cast)
    stand(drawing=drawing, by=cast.tomas, clip=clip_of(cast), until_frame=60)
    assert until_of(drawing) is None and noted("drawing-stands") == 0


# --- by the page ---------------------------------------------------------------------------------


def post(cast: Cast, by: Any, swim: str = "tomas", **fields: Any) -> Any:
    url = reverse("feedback:draw", args=[cast.swims[swim].pk])
    told = {"clip": str(clip_of(cast).pk), "frame": "40", "kind": "joint", "colour": "flag"}
    return sign_in(Client(), by).post(url, {**told, "points": json.dumps(JOINT), **fields})


def test_the_page_draws_moves_and_rubs_out(cast: Cast) -> None:
    answer = post(cast, cast.coach, until_frame="44")
    assert answer.status_code == 201
    told = answer.json()["drawing"]
    assert (told["view"], told["frame"], told["until_frame"]) == (str(clip_of(cast).pk), 40, 44)
    assert (told["mine"], told["draft"], told["comment"]) == (True, True, None)
    assert (told["width_px"], told["height_px"], told["label"]) == (640, 360, "151°")
    client = sign_in(Client(), cast.coach)
    moved = client.post(told["move"], {"points": "[[0.2,0.5],[0.5,0.5],[0.5,0.1]]"})
    assert moved.json()["drawing"]["label"] == "90°"
    page = client.get(reverse("feedback:swim", args=[cast.swims["tomas"].pk]))
    assert [one["key"] for one in page.context["drawings_for_script"]] == [told["key"]]
    gone = client.post(told["rub_out"], headers={"accept": "application/json"})
    assert gone.json() == {"rubbed_out": told["key"]} and not Drawing.objects.exists()


def test_the_page_changes_how_long_it_stands(cast: Cast) -> None:
    told = post(cast, cast.coach, until_frame="44").json()["drawing"]
    client, view = sign_in(Client(), cast.coach), {"clip": str(clip_of(cast).pk)}
    answer = client.post(told["stand"], {**view, "until_frame": "90"}).json()["drawing"]
    assert (answer["frame"], answer["until_frame"], answer["points"]) == (40, 90, told["points"])
    for fields, name, begins in (
        ({"until_frame": "100"}, "until_frame", "Last frame: this view has 100"),
        ({"until_frame": "39"}, "until_frame", "Last frame: it comes after"),
        ({"until_frame": "2 s"}, "until_frame", "Last frame: it is a whole number"),
        ({}, "until_frame", "Last frame: say until which"),
        ({"until_frame": "60", "clip": str(clip_of(cast, 0).pk)}, "clip", "View: it is no longer"),
    ):
        refused = client.post(told["stand"], {**view, **fields})
        assert refused.status_code == 422
        errors = refused.json()["errors"]
        assert list(errors) == [name] and errors[name][0].startswith(begins)
    assert Drawing.objects.get().until_ticks == pts_ticks_of(clip_of(cast), 90)
    for other in (cast.tomas, cast.other_coach):
        hidden = sign_in(Client(), other).post(told["stand"], {**view, "until_frame": "50"})
        assert hidden.status_code == 404


def test_without_script_rubbing_out_leads_back_to_the_swim(cast: Cast) -> None:
    drawing = drawn(cast)
    url = reverse("feedback:drawing-rub-out", args=[drawing.pk])
    answer = sign_in(Client(), cast.coach).post(url)
    page = reverse("feedback:swim", args=[drawing.swim_id])
    assert (answer.status_code, answer["Location"]) == (302, f"{page}#drawn")


@pytest.mark.parametrize(
    ("fields", "name", "begins"),
    [
        ({"points": ""}, "points", "Points: there are none"),
        ({"points": "[[0.1"}, "points", "Points: they could not be read"),
        ({"points": "[" * 39_000}, "points", "Points: they could not be read"),
        ({"points": f"[[{'9' * 5000},0]]"}, "points", "Points: they could not be read"),
        ({"points": "5"}, "points", "Points: this drawing has too few"),
        ({"points": "[[0.1,0.1]]"}, "points", "Points: this drawing has too few"),
        ({"points": "[[0.1,0.1],[0.2,0.2],[0.2,1.2]]"}, "points", "Points: some lie outside"),
        ({"points": "[[0.1,0.1],[0.2,0.2],[0.2,0.2]]"}, "points", "Points: they lie too close"),
        ({"points": "[" + "[0.1,0.1]," * 4500 + "[0,0]]"}, "points", "Points: there are too many"),
        ({"frame": ""}, "frame", "Frame: it is not clear"),
        ({"frame": "100"}, "frame", "Frame: this view has 100"),
        ({"until_frame": "39"}, "until_frame", "Last frame: it comes after"),
        ({"until_frame": "100"}, "until_frame", "Last frame: this view has 100"),
        ({"kind": "zigzag"}, "kind", "Kind: that is nothing"),
        ({"colour": "pink"}, "colour", "Colour: that is none"),
        ({"clip": str(uuid.uuid4())}, "clip", "View: it is no longer there"),
        ({"comment": str(uuid.uuid4())}, "comment", "Comment: it is no longer there"),
        ({"key": "x"}, "key", "Key: it could not be read"),
    ],
)
def test_what_is_not_acceptable_is_said_by_its_name(
    cast: Cast, fields: dict[str, str], name: str, begins: str
) -> None:
    answer = post(cast, cast.coach, **fields)
    assert answer.status_code == 422
    errors = answer.json()["errors"]
    assert list(errors) == [name] and errors[name][0].startswith(begins)
    assert not Drawing.objects.exists()


def test_a_comment_of_somebody_else_or_another_swim_takes_no_drawing(cast: Cast) -> None:
    theirs = comment_of(cast, author=cast.tomas, sent_at=timezone.now())
    elsewhere = Comment.objects.create(
        swim=cast.swims["wren"], author=cast.coach, text="Long.", sent_at=timezone.now()
    )
    for comment in (theirs, elsewhere):
        assert post(cast, cast.coach, comment=str(comment.pk)).status_code == 422
    own = comment_of(cast)
    told = post(cast, cast.coach, comment=str(own.pk)).json()["drawing"]
    assert told["comment"] == str(own.pk)


def test_another_swims_clip_is_not_there(cast: Cast) -> None:
    answer = post(cast, cast.coach, clip=str(cast.clips["wren"][1].pk))
    assert answer.status_code == 422 and list(answer.json()["errors"]) == ["clip"]


def test_drafts_and_notes_are_absent_to_the_swimmer(cast: Cast) -> None:
    client = sign_in(Client(), cast.tomas)
    for drawing in (drawn(cast), drawn(cast, 41, for_coaches=True)):
        page = client.get(reverse("feedback:swim", args=[drawing.swim_id]))
        assert page.context["drawings_for_script"] == []
        assert str(drawing.pk) not in page.content.decode()
        for name in ("feedback:drawing-move", "feedback:drawing-stand", "feedback:drawing-rub-out"):
            assert client.post(reverse(name, args=[drawing.pk])).status_code == 404
    assert Drawing.objects.count() == 2


def test_the_swimmer_does_not_draw_for_coaches(cast: Cast) -> None:
    assert post(cast, cast.tomas, for_coaches="on").status_code == 404
    assert not Drawing.objects.exists()


def test_withdrawn_and_other_clubs_swims_take_no_drawing(cast: Cast) -> None:
    for by, swim in ((cast.coach, "sol"), (cast.sol, "sol"), (cast.other_coach, "tomas")):
        assert post(cast, by, swim).status_code in (404, 422)
    assert post(cast, cast.coach, "sol").status_code == 404
    assert not Drawing.objects.exists()


def test_a_forged_page_draws_nothing(cast: Cast) -> None:
    client = sign_in(Client(enforce_csrf_checks=True), cast.coach)
    url = reverse("feedback:draw", args=[cast.swims["tomas"].pk])
    assert client.post(url, {"points": "[]"}).status_code == 403


def test_fifty_drawings_ask_the_database_as_often_as_one(cast: Cast) -> None:
    swim = Swim.objects.get(pk=cast.swims["tomas"].pk)
    views = views_of(swim, cast.coach)
    counts = []
    for more in (1, 49):
        for frame in range(more):
            drawn(cast, frame)
        with CaptureQueriesContext(
            connection,
        ) as asked:
            found = drawings_of(swim, cast.coach, views)
            assert [one.for_script()["label"] for one in found] == ["151°"] * len(found)
        counts.append(len(asked))
    assert counts[0] == counts[1] == 1 and len(found) == 50
