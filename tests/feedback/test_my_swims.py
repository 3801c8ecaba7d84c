"""My swims: what a swimmer was given, with what the coach sent; nothing that was not sent."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinics.models import Swim, Swimmer
from feedback.models import Feedback, FeedbackSent
from tests.cast import Cast, make_clip, sign_in
from tests.feedback.said import another_go, comment, drawing
from tests.feedback.two_swims import last_time

MY_SWIMS_QUERIES = 14


@pytest.fixture(autouse=True)
def no_second_factor(settings: Any) -> None:
    settings.SECOND_FACTOR_REQUIRED = False


def page(user: Any, url: str) -> str:
    answer = sign_in(Client(), user).get(url)
    assert answer.status_code == 200
    return answer.content.decode()


def swim_url(cast: Cast, key: str = "tomas") -> str:
    return reverse("feedback:swim", args=[cast.swims[key].pk])


def test_own_swims_and_nobody_elses(cast: Cast) -> None:
    body = page(cast.tomas, reverse("feedback:my-swims"))
    assert swim_url(cast) in body
    assert swim_url(cast, "wren") not in body
    posters = {str(c.files.get(kind="poster").pk) for c in cast.clips["tomas"][:2]}
    assert set(re.findall(r'/clip-files/([\w-]+)/"', body)) == posters  # one still per station
    assert "Freestyle, 50 m" in body
    assert "Your coach has not said anything yet." in body


def test_the_card_says_the_one_thing_and_counts_what_came_from_whom(cast: Cast) -> None:
    swim, recording = cast.swims["tomas"], cast.recordings["underwater"]
    for text in ("Hips follow.", "Reach further."):
        comment(swim, cast.coach, text)
    comment(swim, cast.tomas, "My own words.")
    comment(swim, cast.coach, "Not sent.", sent=False)
    comment(swim, cast.coach, "Among coaches.", for_coaches=True)
    drawing(swim, cast.coach, recording)
    drawing(swim, cast.coach, recording, sent=False)
    for words in ("Before.", "Feet higher on the wall."):
        FeedbackSent.objects.create(swim=swim, one_thing=words, sent_by=cast.coach)
    Feedback.objects.create(swim=swim, one_thing="Still being written.")
    body = page(cast.tomas, reverse("feedback:my-swims"))
    assert "<b>One thing to try:</b> Feet higher on the wall." in body
    assert "2 comments, 1 drawing from Ines Aldana." in body
    assert ">4 new<" in body
    for hidden in ("Before.", "Still being written.", "Not sent", "Among coaches"):
        assert hidden not in body
    page(cast.tomas, swim_url(cast))
    body = page(cast.tomas, reverse("feedback:my-swims"))
    assert "2 comments, 1 drawing" in body
    assert not re.search(r"\d new<", body)


def test_words_without_a_comment_are_not_said_to_be_nothing(cast: Cast) -> None:
    FeedbackSent.objects.create(swim=cast.swims["tomas"], one_thing="Look down.")
    body = page(cast.tomas, reverse("feedback:my-swims"))
    assert "Look down." in body
    assert "has not said anything" not in body


def test_a_couple_with_one_sign_in_sees_each_swimmer_by_name(cast: Cast) -> None:
    Swimmer.objects.filter(user=cast.wren).update(user=cast.tomas)
    body = page(cast.tomas, reverse("feedback:my-swims"))
    assert re.findall(r"<h2>(.*?)</h2>", body) == ["Tomas Birk", "Wren Okada"]
    assert swim_url(cast, "wren") in body


def test_a_swim_not_given_is_not_among_mine(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    FeedbackSent.objects.create(swim=swim, one_thing="Look down.", sent_by=cast.coach)
    Swim.objects.filter(pk=swim.pk).update(given_at=None, given_by=None)
    body = page(cast.tomas, reverse("feedback:my-swims"))
    assert "Nothing to watch yet" in body
    assert "Look down." not in body


def test_a_card_leads_beside_last_times_swim(cast: Cast) -> None:
    mine = reverse("feedback:my-swims")
    assert "compare-link" not in page(cast.tomas, mine)
    earlier, now = last_time(cast), cast.swims["tomas"]
    beside = reverse("feedback:compare-with", args=[now.pk, earlier.pk])
    body = page(cast.tomas, mine)
    assert beside in body and body.count("compare-link") == 1
    earlier.clips.all().delete()  # nothing to see of it any more
    assert "compare-link" not in page(cast.tomas, mine)


@pytest.mark.parametrize("count", [3, 60])
def test_three_and_sixty_swims_cost_the_same_queries(cast: Cast, count: int) -> None:
    model, recording = cast.swims["tomas"], cast.recordings["start-side"]
    for number in range(2, count + 1):
        swim = another_go(model, number)
        comment(swim, cast.coach, "Good.", recording=recording, pts_ticks=3600 * 500)
        drawing(swim, cast.coach, recording)
        FeedbackSent.objects.create(swim=swim, one_thing="Look down.", sent_by=cast.coach)
        if number < 8:
            make_clip(swim, recording, 1, from_s=-1.0)
    client = sign_in(Client(), cast.tomas)
    client.get(reverse("feedback:my-swims"))  # what is asked once per sign-in
    with CaptureQueriesContext(connection) as asked:
        body = client.get(reverse("feedback:my-swims")).content.decode()
    assert body.count("swim-card") == count
    assert len(asked) == MY_SWIMS_QUERIES
