"""The page that a swimmer takes home: what is on it, on screen and on paper."""

from __future__ import annotations

import datetime as dt
import html
import io
import re
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from pypdf import PdfReader

from clinics.models import Clinic, ClockFit, Swim
from feedback.actions.feedback import keep_words, send_feedback
from feedback.compute.take_home import Choice
from feedback.models import FeedbackSent, Mark, TakeHome
from portal.models import User
from tests.cast import Cast, sign_in
from tests.feedback.marked_swims import mark_swim
from tests.feedback.taken_home import (
    ONE_THING,
    POINTS,
    given,
    heard,
    proposed,
    said_and_marked,
    still_of,
)
from tests.feedback.test_measures_places import head, plane
from tests.feedback.two_swims import last_time


@pytest.fixture(autouse=True)
def no_second_factor(settings: Any) -> None:
    settings.SECOND_FACTOR_REQUIRED = False


def fetch(user: User, swim: Swim, name: str = "take-home", **more: Any) -> Any:
    answer = sign_in(Client(), user).get(reverse(f"feedback:{name}", args=[swim.pk]), **more)
    assert answer.status_code == 200
    return answer


def page(user: User, swim: Swim, **more: Any) -> str:
    body = fetch(user, swim, **more).content.decode()
    body = body[body.index('<article class="sheet">') :].split("</article>")[0]
    return words(body)


def words(body: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", body)).replace("\u00a0", " ").split())


def paper(user: User, swim: Swim) -> PdfReader:
    return PdfReader(io.BytesIO(fetch(user, swim, "take-home-pdf").content))


def words_on(reader: PdfReader) -> str:
    text = " ".join(one.extract_text() for one in reader.pages)
    return " ".join(text.replace("\u00a0", " ").replace("\u202f", " ").split())


def before_it(cast: Cast, *, slower_s: float, **fields: Any) -> Swim:
    before = last_time(cast, **fields)
    mark_swim(before, before.clips.first().recording, cast.coach, slower_s=slower_s)  # type: ignore[union-attr]
    return before


def test_swimmer_reads_words_figures_and_what_they_are_from(cast: Cast) -> None:
    swim = said_and_marked(cast)
    given(cast)
    told = page(cast.tomas, swim)
    for said in ("Tomas Birk", "Freestyle, 50 m", "Saturday 14 November 2026", ONE_THING, *POINTS):
        assert said in told
    # head at 15 m at 8.45 s (tests/feedback/measuring/swims.py), on frames of 0.04 s
    assert re.search(r"Time to 15 m 8\.4\d s ± 0\.04 s", told)
    assert "From the start signal until the head is at this distance. Sure." in told
    assert "Start side (times: within a frame)" in told
    assert "Times count from the start signal as heard, ± 8 ms." in told
    assert "Marked by Ines Aldana on" in told
    assert "All of it is as a camera saw you" in told
    assert "by Ines Aldana. For you alone" in told
    assert "ast time" not in told
    answer = fetch(cast.tomas, swim)
    assert answer["Cache-Control"] == "private, no-store"


def test_last_time_is_told_apart_only_beyond_its_half_width(cast: Cast) -> None:
    before_it(cast, slower_s=0.4)
    swim = said_and_marked(cast)
    given(cast)
    told = page(cast.tomas, swim)
    assert "Last time: 24 October 2026, swum alike." in told
    assert re.search(
        r"Time to 15 m 8\.4\d s ± 0\.04 s 8\.8\d s last time; "
        r"sooner by 0\.4\d? s, more than its ± 0\.0\d s",
        told,
    )
    wall = told.split("At the wall, wall 1")[1]
    assert re.match(r" 1\.\d+ s ± 0\.04 s 1\.\d+ s last time: no difference that can", wall)


def test_last_time_over_another_distance_is_said_to_be_so(cast: Cast) -> None:
    earlier = before_it(cast, slower_s=0.4)
    Clinic.objects.filter(pk=earlier.entry.clinic_id).update(distance_m=75)
    swim = said_and_marked(cast)
    given(cast)
    told = page(cast.tomas, swim)
    assert "Last time: 24 October 2026, over 75 m; same stroke, start and course." in told


@pytest.mark.parametrize("fields", [{"stroke": "backstroke"}, {"given_at": None}])
def test_a_swim_of_another_stroke_or_not_given_is_not_last_time(
    cast: Cast, fields: dict[str, Any]
) -> None:
    before_it(cast, slower_s=0.4, **fields)
    swim = said_and_marked(cast)
    assert proposed(swim, cast.coach).before == ""
    given(cast)
    assert "ast time" not in page(cast.tomas, swim)


def test_an_earlier_swim_that_is_out_of_sight_is_named_no_more(cast: Cast) -> None:
    before = before_it(cast, slower_s=0.4)
    swim = said_and_marked(cast)
    given(cast)
    Swim.objects.filter(pk=before.pk).update(given_at=None)
    told = page(cast.tomas, swim)
    assert "The swim that this one stood beside is not here any more." in told
    assert "24 October" not in told and "sooner by" not in told
    assert "is not here any more" in words_on(paper(cast.tomas, swim))


def test_what_a_coach_chose_stays_while_figures_follow_the_clock(cast: Cast) -> None:
    swim = said_and_marked(cast)
    given(cast, choice=Choice(measures=("breakout-time-0-0",)))
    told = page(cast.tomas, swim)
    assert "Breakout 4.62 s ± 0.04 s" in told and "Time to 15 m" not in told
    fit = ClockFit.objects.get(recording=cast.recordings["start-side"])
    assert fit.zero_at is not None
    fit.zero_at += dt.timedelta(seconds=0.5)
    fit.save()
    assert "Breakout 5.12 s ± 0.04 s" in page(cast.tomas, swim)
    Mark.objects.filter(swim=swim).delete()
    assert "Breakout" not in page(cast.tomas, swim)


def test_words_are_those_that_were_given(cast: Cast) -> None:
    swim = said_and_marked(cast)
    given(cast)
    stamp = swim.feedback.updated_at.isoformat()
    keep_words(swim=swim, by=cast.coach, one_thing="Breathe out.", points=(), stamp=stamp)
    send_feedback(swim=swim, by=cast.coach)
    assert FeedbackSent.objects.count() == 2
    assert ONE_THING in page(cast.tomas, swim)
    room = words(fetch(cast.coach, swim, "swim").content.decode())
    assert "Changed since: give it again" in room
    given(cast)
    assert "Breathe out." in page(cast.tomas, swim)
    assert "Changed since" not in words(fetch(cast.coach, swim, "swim").content.decode())


def test_metres_off_the_picture_say_so_and_last(cast: Cast) -> None:
    swim = heard(cast.swims["tomas"])
    set_so = plane(cast, under_water=True)
    head(cast, 40, 10.0)
    head(cast, 90, 13.6)
    given(cast)
    told = page(cast.tomas, swim)
    assert "Time to 10 m 8.6" in told
    assert "Metres read off the picture of Underwater 12.5 m, by marks of known place" in told
    assert "By the plane in the picture: 10.0" in told
    assert "Distances as said" not in told
    set_so.delete()
    assert "Metres read off" not in page(cast.tomas, swim)


def test_a_figure_too_unsure_is_said_in_words(cast: Cast) -> None:
    swim = said_and_marked(cast)
    Swim.objects.filter(pk=swim.pk).update(start_u_ms=3000.0)
    given(cast, choice=Choice(measures=("breakout-time-0-0",)))
    told = page(cast.tomas, swim)
    assert "Breakout too unsure to say" in told
    assert "4.6" not in told.split("Measured")[1].split("The swim in time")[0]
    others = Choice(measures=proposed(cast.swims["wren"], cast.coach).measures)
    assert others.measures == ()  # nothing is proposed where nothing is marked


def test_paper_is_one_page_with_the_stills_and_what_the_screen_has(cast: Cast) -> None:
    before_it(cast, slower_s=0.4)
    swim = said_and_marked(cast)
    for frame in (3, 9, 12):
        still_of(cast, frame=frame)
    given(cast)
    reader = paper(cast.tomas, swim)
    told = words_on(reader)
    assert len(reader.pages) == 1 and len(reader.pages[0].images) == 3
    for said in (ONE_THING, *POINTS, "Time to 15 m", "± 0.04 s", "sooner by 0.4", "Measured from"):
        assert said in told
    assert "until the head is at this distance" in told  # what it is, below


def test_the_longest_words_and_most_figures_are_two_pages_at_most(cast: Cast) -> None:
    before_it(cast, slower_s=0.4)
    swim = heard(cast.swims["tomas"])
    long = "Reach to your own side of the lane before the shoulder turns, please. " * 5
    keep_words(swim=swim, by=cast.coach, one_thing=long[:300], points=[long[:200]] * 3, stamp="")
    send_feedback(swim=swim, by=cast.coach)
    mark_swim(swim, cast.recordings["start-side"], cast.coach)
    for frame in (3, 9, 12):
        still_of(cast, frame=frame)
    given(cast)
    assert len(paper(cast.tomas, swim).pages) <= 2


def test_in_french_dates_decimals_and_fixed_words_are_french(cast: Cast) -> None:
    swim = said_and_marked(cast)
    given(cast)
    User.objects.filter(pk=cast.tomas.pk).update(language="fr")
    cast.tomas.refresh_from_db()
    for told in (
        page(cast.tomas, swim, headers={"accept-language": "fr"}),
        words_on(paper_in_french(cast.tomas, swim)),
    ):
        assert "samedi 14 novembre 2026" in told
        assert re.search(r"8,4\d s ± 0,04 s", told)
        assert "Une chose à essayer" in told and "De votre entraîneur" in told
        assert ONE_THING in told  # what a person said stays as it was said


def paper_in_french(user: User, swim: Swim) -> PdfReader:
    answer = fetch(user, swim, "take-home-pdf", headers={"accept-language": "fr"})
    return PdfReader(io.BytesIO(answer.content))


def test_stills_that_are_gone_are_said_to_be(cast: Cast) -> None:
    swim = said_and_marked(cast)
    still = still_of(cast)
    given(cast)
    assert str(still.pk) in fetch(cast.tomas, swim).content.decode()
    cast.clips["tomas"][1].delete_by = timezone.now() - dt.timedelta(minutes=1)
    cast.clips["tomas"][1].save()
    assert str(still.pk) not in fetch(cast.tomas, swim).content.decode()
    assert "One still is not here any more: its picture is kept no longer" in page(cast.tomas, swim)
    reader = paper(cast.tomas, swim)
    assert not reader.pages[0].images and "is not here any more" in words_on(reader)
    url = reverse("feedback:take-home-still", args=[swim.pk, still.pk])
    assert sign_in(Client(), cast.tomas).get(url).status_code == 404


def test_a_page_asks_the_same_whatever_is_on_it(
    cast: Cast, django_assert_max_num_queries: Any
) -> None:
    before_it(cast, slower_s=0.4)
    swim = said_and_marked(cast)
    for frame in (3, 9, 12):
        still_of(cast, frame=frame)
    given(cast)
    client = sign_in(Client(), cast.tomas)
    with django_assert_max_num_queries(30):
        client.get(reverse("feedback:take-home", args=[swim.pk]))
    assert TakeHome.objects.get().choice["measures"]
