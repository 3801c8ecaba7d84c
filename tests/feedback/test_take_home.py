"""The page that a swimmer takes home: what is on it, on screen and on paper."""

from __future__ import annotations

import html
import io
import re
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from clinics.models import ClockFit, Swim
from feedback.models import FeedbackSent, Mark
from portal.models import User
from tests.cast import Cast, sign_in
from tests.feedback.marked_swims import mark_swim
from tests.feedback.taken_home import ONE_THING, POINTS, given, said_and_marked, still_of
from tests.feedback.two_swims import last_time


@pytest.fixture(autouse=True)
def no_second_factor(settings: Any) -> None:
    settings.SECOND_FACTOR_REQUIRED = False


def fetch(user: User, swim: Swim, name: str = "take-home", status: int = 200) -> Any:
    answer = sign_in(Client(), user).get(reverse(f"feedback:{name}", args=[swim.pk]))
    assert answer.status_code == status
    return answer


def page(user: User, swim: Swim, name: str = "take-home") -> str:
    body = fetch(user, swim, name).content.decode()
    body = body[body.index('<article class="sheet">') :].split("</article>")[0]
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", body)).replace("\u00a0", " ").split())


def paper(user: User, swim: Swim) -> PdfReader:
    return PdfReader(io.BytesIO(fetch(user, swim, "take-home-pdf").content))


def words_on(reader: PdfReader) -> str:
    text = " ".join(one.extract_text() for one in reader.pages)
    return " ".join(text.replace("\u00a0", " ").split())


def test_swimmer_reads_words_figures_and_what_they_are_from(cast: Cast) -> None:
    swim = said_and_marked(cast)
    given(cast)
    told = page(cast.tomas, swim)
    for words in ("Tomas Birk", "Freestyle, 50 m", "Saturday 14 November 2026", ONE_THING, *POINTS):
        assert words in told
    # marked on the first frame at or after each event; the definition is half a frame less
    assert re.search(r"Time to 15 m 8\.4\d s ± 0\.04 s", told)
    assert "From the start signal until the head is at this distance. Sure." in told
    assert "Start side (times: within a frame)" in told
    assert "Times count from the start signal as heard, ± 8 ms." in told
    assert "Marked by Ines Aldana on" in told
    assert "All of it is as a camera saw you" in told
    assert "by Ines Aldana. For you alone" in told
    assert "Last time" not in told and "last time" not in told
