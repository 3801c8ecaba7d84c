"""The swim's page: what it shows, to whom, at what cost."""

from __future__ import annotations

import datetime as dt
import json
import re
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from clinics.models import Entry, Swim
from feedback.actions import say
from feedback.models import Comment
from tests.cast import Cast, make_clip, sign_in
from tests.feedback.said import comment, drawing
from tests.feedback.words import say_and_send


@pytest.fixture(autouse=True)
def no_second_factor(settings: Any) -> None:
    settings.SECOND_FACTOR_REQUIRED = False


def page(user: Any, url: str, **data: Any) -> tuple[int, str]:
    answer = sign_in(Client(), user).get(url, data)
    return answer.status_code, answer.content.decode()


def swim_url(cast: Cast, key: str = "tomas") -> str:
    return reverse("feedback:swim", args=[cast.swims[key].pk])


# --- the page of a swim ---------------------------------------------------------------------------


def test_only_the_coach_and_the_swimmer_open_a_swim(cast: Cast) -> None:
    seen = {name: page(user, swim_url(cast))[0] for name, user in cast.people().items() if user}
    assert {name for name, status in seen.items() if status == 200} == {"swimmer", "coach"}
    assert set(seen.values()) == {200, 404}


def test_hidden_and_absent_are_the_same_on_every_verb(cast: Cast) -> None:
    absent = reverse("feedback:swim", args=["11111111-2222-4333-8444-555555555555"])
    said = say_and_send(swim=cast.swims["tomas"], by=cast.coach, text="Push out level.")
    pairs = [
        (swim_url(cast), absent),
        (swim_url(cast) + "say/", absent + "say/"),
        (swim_url(cast) + "give/", absent + "give/"),
        *(
            (reverse(name, args=[said.pk]), reverse(name, args=[cast.clinic.pk]))
            for name in ("feedback:reply", "feedback:edit")
        ),
    ]
    for hidden, random in pairs:
        for verb in ("get", "post", "head", "put", "delete", "patch", "options"):
            client = sign_in(Client(), cast.wren)
            one, other = (getattr(client, verb)(url) for url in (hidden, random))
            assert (one.status_code, one.content) == (other.status_code, other.content)
            assert one.status_code in {404, 405}


def test_the_swimmer_reads_what_the_coach_said_in_order_of_time(cast: Cast) -> None:
    clips = cast.clips["tomas"]
    swim = cast.swims["tomas"]
    say_and_send(swim=swim, by=cast.coach, text="About it all.")
    say_and_send(swim=swim, by=cast.coach, text="Later.", clip=clips[1], frame=50)
    say_and_send(swim=swim, by=cast.coach, text="Earlier.", clip=clips[0], frame=30)
    _, body = page(cast.tomas, swim_url(cast))
    assert re.findall(r'class="words">(.*?)<', body) == ["Earlier.", "Later.", "About it all."]
    jumps = re.findall(r'class="jump"[^>]* href="([^"]*)">(.*?)<', body)
    # the clip starts 1 s before the signal at 25 frames/s: frame 30 is at 0.2 s
    assert jumps == [
        (f"?view={clips[0].pk}&amp;at=30", "0.2 s"),
        (f"?view={clips[1].pk}&amp;at=50", "9.0 s"),
    ]
    assert body.count('<span class="new">') == 3


def test_an_address_opens_a_view_at_the_middle_of_its_frame_without_script(cast: Cast) -> None:
    clip = cast.clips["tomas"][1]
    _, body = page(cast.tomas, swim_url(cast), view=str(clip.pk), at="50")
    video = clip.files.get(kind="video")
    assert f'src="/clip-files/{video.pk}/#t=2.0200"' in body  # frame 50 is shown 2.00 to 2.04 s
    assert f'<input type="hidden" name="clip" value="{clip.pk}"' in body
    assert '<input type="hidden" name="frame" value="50"' in body


@pytest.mark.parametrize("at", ["100", "-1", "x", "9" * 400, "²", ""])
def test_an_address_that_makes_no_sense_opens_the_page_all_the_same(cast: Cast, at: str) -> None:
    clip = cast.clips["tomas"][1]
    status, body = page(cast.tomas, swim_url(cast), view=str(clip.pk), at=at)
    assert status == 200
    assert "#t=" not in body


def test_times_are_said_with_how_sure_they_are(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    Swim.objects.filter(pk=swim.pk).update(start_u_ms=5.0)
    fit = cast.recordings["underwater"].clock_fit
    fit.state = "look"
    fit.save()
    _, body = page(cast.coach, swim_url(cast))
    assert "within a frame" in body  # 12 and 5 ms together against 40 ms
    assert "needs a look" in body
    assert "± 13 ms" in body


# --- posting ----------------------------------------------------------------------------------


def test_the_coach_says_something_and_gives_the_swim(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    Swim.objects.filter(pk=swim.pk).update(given_at=None, given_by=None)
    clip = cast.clips["tomas"][1]
    coach = sign_in(Client(), cast.coach)
    told = {"text": "Left hand crosses.", "clip": str(clip.pk), "frame": "57"}
    # a time from the browser is not listened to
    answer = coach.post(swim_url(cast) + "say/", {**told, "pts_ticks": "1", "at_s": "99"})
    said = Comment.objects.get()
    assert answer.url == f"{swim_url(cast)}?view={clip.pk}&at=57#said-{said.pk}"
    assert said.pts_ticks == (clip.first_frame + 57) * 3600
    assert page(cast.tomas, swim_url(cast))[0] == 404
    coach.post(swim_url(cast) + "give/")
    status, body = page(cast.tomas, swim_url(cast))
    assert status == 200
    assert "Left hand crosses." not in body  # a draft, until the coach sends what is theirs
    say.send_drafts(swim=swim, by=cast.coach)
    assert "Left hand crosses." in page(cast.tomas, swim_url(cast))[1]


def test_the_swimmer_cannot_give_and_another_coach_cannot_either(cast: Cast) -> None:
    Swim.objects.filter(pk=cast.swims["wren"].pk).update(given_at=None, given_by=None)
    for user in (cast.wren, cast.other_coach, cast.checker, cast.admin):
        assert sign_in(Client(), user).post(swim_url(cast, "wren") + "give/").status_code == 404
    assert Swim.objects.get(pk=cast.swims["wren"].pk).given_at is None


def test_words_on_the_screen_are_escaped(cast: Cast) -> None:
    say_and_send(swim=cast.swims["tomas"], by=cast.coach, text="<b onclick=x>&")
    _, body = page(cast.tomas, swim_url(cast))
    assert "&lt;b onclick=x&gt;&amp;" in body
    assert "<b onclick" not in body


@pytest.mark.parametrize(
    ("told", "sentence"),
    [
        ({"text": "  "}, "Write something first."),
        ({"text": "x" * 4001}, "That is too long"),
        ({"text": "Look.", "frame": "100", "clip": "own"}, "This view has 100 frames"),
        ({"text": "Look.", "clip": "own"}, "It is not clear which picture"),
        ({"text": "Look.", "frame": "3", "clip": "wren"}, "That view is no longer there."),
    ],
)
@pytest.mark.parametrize("htmx", [True, False])
def test_what_is_not_accepted_says_why_and_keeps_what_was_typed(
    cast: Cast, told: dict[str, str], sentence: str, htmx: bool
) -> None:
    clips = {"own": cast.clips["tomas"][0].pk, "wren": cast.clips["wren"][0].pk}
    data = {**told, **({"clip": str(clips[told["clip"]])} if "clip" in told else {})}
    client = sign_in(Client(), cast.coach)
    headers = {"HX-Request": "true"} if htmx else {}
    answer = client.post(swim_url(cast) + "say/", data, headers=headers)
    assert answer.status_code == 422
    body = answer.content.decode()
    assert sentence in body
    assert told["text"].strip() in body
    assert ("<html" in body) is not htmx
    assert not Comment.objects.exists()


def test_with_htmx_the_column_of_comments_comes_back_alone(cast: Cast) -> None:
    client = sign_in(Client(), cast.tomas)
    answer = client.post(
        swim_url(cast) + "say/", {"text": "Is my head too high?"}, headers={"HX-Request": "true"}
    )
    body = answer.content.decode()
    assert answer.status_code == 200
    assert body.lstrip().startswith('<div id="said">')
    assert "Is my head too high?" in body


def test_a_reply_and_an_edit_without_script(cast: Cast) -> None:
    clip = cast.clips["tomas"][0]
    said = say_and_send(swim=clip.swim, by=cast.coach, text="Push out.", clip=clip, frame=3)
    client = sign_in(Client(), cast.tomas)
    answer = client.post(reverse("feedback:reply", args=[said.pk]), {"text": "Like this?"})
    reply = Comment.objects.get(reply_to=said)
    assert answer.url == f"{swim_url(cast)}?view={clip.pk}&at=3#said-{reply.pk}"
    edit = reverse("feedback:edit", args=[reply.pk])
    assert "Like this?" in client.get(edit).content.decode()
    client.post(edit, {"text": "Like that?"})
    reply.refresh_from_db()
    assert reply.text == "Like that?"
    assert client.post(edit, {"text": " "}).status_code == 422


def test_nobody_edits_the_words_of_another(cast: Cast) -> None:
    said = say_and_send(swim=cast.swims["tomas"], by=cast.coach, text="Push out.")
    for user in (cast.tomas, cast.wren, cast.admin):
        client = sign_in(Client(), user)
        answer = client.post(reverse("feedback:edit", args=[said.pk]), {"text": "Mine now."})
        assert answer.status_code == 404
    said.refresh_from_db()
    assert said.text == "Push out."


# --- cost -------------------------------------------------------------------------------------


def more_swims(cast: Cast, count: int, **given: Any) -> None:
    """So many swims of the swimmer, given, each with a clip and a comment."""
    model = cast.swims["tomas"]
    recording = cast.recordings["start-side"]
    for number in range(count):
        swim = Swim.objects.get(pk=model.pk)
        swim.pk, swim.go = None, number + 2
        swim._state.adding = True
        swim.id = Swim._meta.pk.get_default()  # type: ignore[union-attr]
        swim.start_at += dt.timedelta(seconds=10 * number + 10)
        for name, value in given.items():
            setattr(swim, name, value)
        swim.save()
        if number < 8:  # a clip has five files; a few are enough to show a query per row
            make_clip(swim, recording, 1, from_s=-1.0)
        Comment.objects.create(
            swim=swim,
            author=cast.coach,
            text="Good.",
            recording=recording,
            pts_ticks=3600 * 500,
            sent_at=timezone.now(),
        )


def cost(user: Any, url: str, **data: Any) -> int:
    client = sign_in(Client(), user)
    client.get(url, data)  # what is asked once per sign-in
    with CaptureQueriesContext(
        connection,
    ) as asked:
        assert client.get(url, data).status_code == 200
    return len(asked)


def test_three_and_three_hundred_swims_cost_the_same_queries(cast: Cast) -> None:
    lists = {
        "a swim for its swimmer": (cast.tomas, swim_url(cast), {}),
        "a swim for the coach": (cast.coach, swim_url(cast), {}),
    }
    more_swims(cast, 2)
    before = {name: cost(user, url, **data) for name, (user, url, data) in lists.items()}
    for swim in Swim.objects.filter(go__gt=1):
        swim.comments.all().delete()
        for clip in swim.clips.all():
            clip.files.all().delete()
            clip.delete()
        swim.delete()
    assert Entry.objects.count() == 4
    more_swims(cast, 299)
    after = {name: cost(user, url, **data) for name, (user, url, data) in lists.items()}
    assert after == before
    assert max(before.values()) <= 37, before  # each kind of thing said or placed asks once


def said_and_drawn(cast: Cast, comments: int, drawings: int) -> None:
    """So many, on all views; replies, spans, phases, notes and drafts among them."""
    swim, clips = cast.swims["tomas"], cast.clips["tomas"]
    for number in range(comments):
        clip = clips[number % len(clips)]
        pts_ticks = (clip.first_frame + number % 90) * 3600
        said = comment(
            swim,
            cast.coach,
            f"Number {number}.",
            sent=number % 7 != 6,
            recording=clip.recording,
            pts_ticks=pts_ticks,
            until_ticks=pts_ticks + 18_000 if number % 3 == 0 else None,
            phase="swimming" if number % 2 else "",
            for_coaches=number % 11 == 10,
        )
        if number % 5 == 1:
            comment(swim, cast.tomas, "Like this?", reply_to=said)
    for number in range(drawings):
        drawing(swim, cast.coach, clips[number % len(clips)].recording, sent=number % 4 != 3)


@pytest.mark.parametrize("who", ["coach", "tomas"])
def test_200_comments_and_50_drawings_cost_as_many_queries_as_3(cast: Cast, who: str) -> None:
    user = getattr(cast, who)
    said_and_drawn(cast, 3, 3)
    before = cost(user, swim_url(cast))
    said_and_drawn(cast, 197, 47)
    assert cost(user, swim_url(cast)) == before
    assert before <= 38  # and not one more with 200 comments


def test_the_script_is_told_views_times_files_and_what_may_be_done(cast: Cast) -> None:
    clip = cast.clips["tomas"][1]
    told = {}
    for who in ("coach", "tomas"):
        _, body = page(getattr(cast, who), swim_url(cast), view=str(clip.pk), at="50")
        data = re.search(r'id="swim-data" type="application/json">(.*?)</script>', body, re.S)
        assert data
        told[who] = json.loads(data.group(1))
    view = next(one for one in told["coach"]["views"] if one["key"] == str(clip.pk))
    video = clip.files.get(kind="video")
    assert view["renditions"] == [
        {
            "height": 360,
            "width": 640,
            "size_bytes": video.stored.size_bytes,
            "url": f"/clip-files/{video.pk}/",
            "frames": f"/clip-files/{video.pk}/frames.json",
        }
    ]
    assert (view["kind"], view["pass_no"], view["frame_count"]) == ("underwater", 1, 100)
    assert view["station"] == str(clip.station_id)
    # 100 frames of 25 a second; the recording begins 20 s before the start signal
    assert (view["from_s"], view["to_s"]) == pytest.approx((7.0, 11.0))
    assert (view["seen_from_s"], view["seen_to_s"]) == (clip.seen_from_s, clip.seen_to_s)
    assert view["sure_kind"] == "sure"
    assert told["coach"]["opening"] == {"view": str(clip.pk), "frame": 50}
    assert told["coach"]["swim"]["key"] == str(cast.swims["tomas"].pk)
    assert told["coach"]["can"] == dict(say=True, draw=True, mark=True, coach=True, own=False)
    assert told["tomas"]["can"] == dict(say=True, draw=True, mark=False, coach=False, own=True)


def test_sound_is_told_only_to_whom_the_clinic_lets_hear_it(cast: Cast) -> None:
    heard = f'"/clip-files/{cast.clips["tomas"][0].files.get(kind="sound").pk}/"'
    assert heard in page(cast.coach, swim_url(cast))[1]
    assert heard not in page(cast.tomas, swim_url(cast))[1]
    cast.clinic.sound_for_swimmers = True
    cast.clinic.save()
    assert heard in page(cast.tomas, swim_url(cast))[1]
