"""Captions of a view: read back by webvtt-py, in step with the film, and only for who may read."""

from __future__ import annotations

import datetime as dt
import html
from typing import Any

import pytest
import webvtt
from django.test import Client
from django.urls import reverse
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clinics.models import Clip
from feedback.actions import say, say_again
from feedback.compute.webvtt import Cue, Spoken, with_ends, written
from portal.models import User
from tests.cast import Cast, sign_in
from tests.feedback.test_say import UNEVEN, give_uneven_frames
from tests.feedback.words import reply_and_send, say_and_send


@pytest.fixture(autouse=True)
def no_second_factor(settings: Any) -> None:
    settings.SECOND_FACTOR_REQUIRED = False


def from_string(text: str) -> list[webvtt.Caption]:
    return webvtt.from_string(text).captions


def captions(user: User, clip: Clip, **asked: str) -> list[webvtt.Caption]:
    url = reverse("feedback:captions", args=[clip.swim_id, clip.pk])
    answer = sign_in(Client(), user).get(url, asked)
    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/vtt; charset=utf-8"
    assert answer["Cache-Control"] == "private, no-store"
    return from_string(answer.content.decode())


def words(caption: webvtt.Caption) -> str:
    return html.unescape(caption.text)


def test_cues_stand_at_the_frames_in_the_film_and_come_back_as_they_were_said(cast: Cast) -> None:
    give_uneven_frames(cast, "underwater")
    clip = cast.clips["tomas"][1]
    clip.refresh_from_db()
    at: dict[str, Any] = {"swim": clip.swim, "by": cast.coach, "clip": clip}
    nasty = "Elbow <b>& hand</b> --> out\n\n\nWEBVTT\r\nNOTE that: été 50 %"
    say_and_send(**at, frame=50, text=nasty)
    span = say_and_send(**at, frame=10, until_frame=31, text="Left hand crosses.")
    reply_and_send(to=span, by=cast.coach, text="Both do.")
    first, second = captions(cast.tomas, clip)
    film = [(UNEVEN[clip.first_frame + n] - UNEVEN[clip.first_frame]) / 90_000 for n in range(101)]
    assert seconds(first.start) == pytest.approx(film[10], abs=0.0006)
    assert seconds(first.end) == pytest.approx(film[32], abs=0.0006)  # to the end of frame 31
    assert seconds(second.start) == pytest.approx(film[50], abs=0.0006)
    assert seconds(second.end) == pytest.approx(min(film[50] + 3, film[100]), abs=0.0006)
    assert words(first) == "Left hand crosses.\nBoth do."
    assert first.voice == "Ines Aldana"
    assert words(second) == "Elbow <b>& hand</b> --> out\nWEBVTT\nNOTE that: été 50 %"


def seconds(stamp: str) -> float:
    hours, minutes, rest = stamp.split(":")
    return int(hours) * 3600 + int(minutes) * 60 + float(rest)


def test_only_what_the_viewer_may_read_notes_only_when_a_coach_asks(cast: Cast) -> None:
    clip = cast.clips["tomas"][0]
    at: dict[str, Any] = {"swim": clip.swim, "by": cast.coach, "clip": clip}
    say_and_send(**at, frame=5, text="Push from the legs.")
    say.say(**at, frame=9, text="Old injury?", for_coaches=True)
    say_and_send(swim=clip.swim, by=cast.coach, text="About it all.")
    gone = say_and_send(**at, frame=20, text="Not that.")
    say.reply(to=gone, by=cast.tomas, text="Why?")
    say_again.take_back(comment=gone, by=cast.coach)
    say.say(**at, frame=30, text="A draft.")
    for notes in ("", "1"):
        told = [words(cue) for cue in captions(cast.tomas, clip, notes=notes)]
        assert told == ["Push from the legs."]
    assert [words(cue) for cue in captions(cast.coach, clip)] == ["Push from the legs."]
    told = [words(cue) for cue in captions(cast.coach, clip, notes="1")]
    assert told == ["Push from the legs.", "Old injury?"]
    say.send_drafts(swim=clip.swim, by=cast.coach)
    assert [words(cue) for cue in captions(cast.tomas, clip)][1:] == ["A draft."]


def test_what_is_said_about_the_swim_at_an_instant_is_in_every_view_that_shows_it(
    cast: Cast,
) -> None:
    start, underwater, _ = cast.clips["tomas"]
    fit = cast.recordings["underwater"].clock_fit
    assert fit.zero_at is not None
    fit.zero_at -= dt.timedelta(seconds=6.5)  # it shows 0.5 s to 4.5 s of the swim
    fit.save()
    at: dict[str, Any] = {"swim": start.swim, "by": cast.coach, "clip": start}
    say_and_send(**at, frame=50, text="The whole body.", on_swim=True)  # at 1.0 s
    say_and_send(**at, frame=50, text="This picture.")
    say_and_send(**at, frame=20, text="Before the other view.", on_swim=True)  # at -0.2 s
    (cue,) = captions(cast.coach, underwater)
    assert words(cue) == "The whole body."
    assert seconds(cue.start) == pytest.approx(0.5, abs=0.001)
    assert len(captions(cast.coach, start)) == 3


def test_of_a_span_the_part_is_shown_that_the_film_has(cast: Cast) -> None:
    clip = cast.clips["tomas"][0]
    say_and_send(
        swim=clip.swim, by=cast.coach, text="All along.", clip=clip, frame=10, until_frame=90
    )
    Clip.objects.filter(pk=clip.pk).update(first_frame=clip.first_frame + 40, frame_count=20)
    clip.refresh_from_db()
    (cue,) = captions(cast.coach, clip)
    assert (seconds(cue.start), seconds(cue.end)) == (0.0, 0.8)
    Clip.objects.filter(pk=clip.pk).update(first_frame=clip.first_frame + 90)
    assert captions(cast.coach, clip) == []


def test_a_clip_of_another_swim_has_no_captions_here(cast: Cast) -> None:
    swim, other = cast.swims["tomas"], cast.clips["wren"][0]
    url = reverse("feedback:captions", args=[swim.pk, other.pk])
    assert sign_in(Client(), cast.coach).get(url).status_code == 404


lines = st.text(st.characters(exclude_categories=["Cs"]), min_size=1).filter(lambda t: t.strip())
cues = st.lists(
    st.builds(
        Cue,
        st.floats(0, 3600),
        st.none() | st.floats(3601, 7000),
        st.builds(lambda who, text: (Spoken(who, text),), lines, lines),
    ),
    max_size=8,
)


@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None)  # busy machines
@given(cues)
def test_any_words_come_back_as_so_many_cues_in_order(said: list[Cue]) -> None:
    ordered = with_ends(said, film_s=7200.0)
    back = from_string(written(ordered, about="Start side --> all"))
    assert len(back) == len(said)
    for cue, caption in zip(ordered, back, strict=True):
        assert seconds(caption.start) == pytest.approx(cue.from_s, abs=0.0006)
        assert seconds(caption.end) == pytest.approx(cue.until_s, abs=0.0006)
        assert cue.until_s is not None and cue.until_s > cue.from_s
