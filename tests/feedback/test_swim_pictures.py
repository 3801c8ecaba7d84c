"""Pictures of one swim: what is drawn from its marks, what differs from before, what is missing."""

from __future__ import annotations

import html
import re
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinics.models import Clinic, Entry, Swim
from feedback.models import Mark
from tests.cast import Cast, make_member, sign_in
from tests.feedback.marked_swims import mark_swim
from tests.feedback.measuring.swims import TRUTH
from tests.feedback.said import another_go
from tests.feedback.spread_group import group, marked
from tests.feedback.two_swims import last_time

PICTURES_QUERIES = 14


@pytest.fixture(autouse=True)
def no_second_factor(settings: Any) -> None:
    settings.SECOND_FACTOR_REQUIRED = False


def two_clinics(cast: Cast, *, slower_s: float = 0.4) -> tuple[Swim, Swim]:
    """Three weeks ago and now; then everything was that much later."""
    before, now = last_time(cast), cast.swims["tomas"]
    recording = before.clips.first().recording  # type: ignore[union-attr]
    mark_swim(before, recording, cast.coach, slower_s=slower_s)
    return before, marked(cast, now, 0.0)


def page(user: Any, swim: Swim, ask: str = "?part") -> str:
    url = reverse("feedback:swim-pictures", args=[swim.pk])
    answer = sign_in(Client(), user).get(url + ask)
    assert answer.status_code == 200
    return html.unescape(answer.content.decode()).replace("\u00a0", " ")


def part(body: str, name: str) -> str:
    return body.split(f'data-picture="{name}"', 1)[1].split('<details class="group"', 1)[0]


def row(body: str, name: str) -> str:
    found = re.search(rf'<th scope="row">{name}</th>(.*?)</tr>', body, re.S)
    assert found is not None
    return " ".join(re.sub(r"<[^>]+>", " ", found[1]).split())


def test_what_changes_along_the_swim_is_drawn_with_its_table(cast: Cast) -> None:
    marked(cast, cast.swims["tomas"], 0.0)
    along = part(page(cast.tomas, cast.swims["tomas"]), "along")
    for title in ("Where the time went", "Stroke rate", "Stroke length", "Speed by segment"):
        assert f"<h4>{title}</h4>" in along
    segments = along.split("<h4>Speed by segment</h4>")[1]
    # 5, 10, 15, 20, 30 and 35 m to the next (tests/feedback/measuring/swims.py)
    assert segments.count('<svg class="dot') == 6 == segments.count('<th scope="row">')
    assert "Until the wall at 25 m: 14.54 s" in along


def test_what_differs_and_what_does_not_is_told_apart_by_its_half_width(cast: Cast) -> None:
    _before, now = two_clinics(cast)
    body = part(page(cast.tomas, now), "before")
    told = row(body, "Time to 10 m")
    assert re.search(r"5\.3\d s .* 5\.7\d s .*24 October 2026 −0\.4\d? s ± 0\.0\d+ s yes", told)
    assert row(body, "At the wall, wall 1").endswith("no, within the ±")
    drawn, rows = body.count('<svg class="row-plot"'), body.count('<th scope="row">')
    assert drawn == rows > 8
    assert body.count('class="value differs"') == body.count("<td>yes</td>") == 6


def test_less_than_the_half_width_is_no_difference(cast: Cast) -> None:
    _before, now = two_clinics(cast, slower_s=0.04)
    body = part(page(cast.tomas, now), "before")
    assert "<td>yes</td>" not in body and "differs" not in body


def test_later_swims_are_not_what_was_before(cast: Cast) -> None:
    before, now = two_clinics(cast)
    body = page(cast.tomas, before)
    assert "There is no earlier swim of the same stroke, start, pool and distance." in body
    assert reverse("feedback:swim", args=[now.pk]) not in body


@pytest.mark.parametrize(
    ("of_entry", "of_clinic"),
    [({"stroke": "backstroke"}, {}), ({"start": "water"}, {})]
    + [({}, {"course_m": 50}), ({}, {"distance_m": 100})],
)
def test_other_kinds_are_not_compared(cast: Cast, of_entry: Any, of_clinic: Any) -> None:
    before, now = two_clinics(cast)
    if of_entry:
        Entry.objects.filter(pk=before.entry_id).update(**of_entry)
    if of_clinic:
        Clinic.objects.filter(pk=before.entry.clinic_id).update(**of_clinic)
    assert "There is no earlier swim of the same stroke" in page(cast.tomas, now)


def test_an_earlier_swim_that_was_not_given_is_the_coachs_alone(cast: Cast) -> None:
    before, now = two_clinics(cast)
    Swim.objects.filter(pk=before.pk).update(given_at=None, given_by=None)
    assert "24 October 2026" not in page(cast.tomas, now)
    assert "24 October 2026" in page(cast.coach, now)


def test_missing_parts_say_to_coaches_what_to_mark(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    marked(cast, swim, 0.0, TRUTH[:6])
    told = part(page(cast.coach, swim), "along")
    assert "that needs marks at the first entry, at each breakout" in told
    assert "Speed by segment: mark the head at three distances" in told
    assert "Stroke rate along the swim: mark the hand entries of two lengths." in told
    assert "svg" not in told
    assert "mark the" not in page(cast.tomas, swim)
    Clinic.objects.update(distance_m=25)  # one length has no second one
    assert "Stroke rate along" not in page(cast.coach, swim)


def test_without_marks_nothing_is_drawn(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    assert "When a coach has marked the swim" in page(cast.tomas, swim)
    assert "begin with the guided pass" in page(cast.coach, swim)
    assert "svg" not in page(cast.coach, swim) and "table" not in page(cast.coach, swim)


def test_the_page_of_its_own_is_whole_and_open(cast: Cast) -> None:
    marked(cast, cast.swims["tomas"], 0.0)
    body = page(cast.tomas, cast.swims["tomas"], "")
    assert "<html" in body and body.count('<details class="group"') == 3 == body.count(" open>")
    assert "<html" not in page(cast.tomas, cast.swims["tomas"])


def test_the_swims_page_leads_to_them(cast: Cast) -> None:
    url = reverse("feedback:swim", args=[cast.swims["tomas"].pk])
    body = sign_in(Client(), cast.tomas).get(url).content.decode()
    pictures = reverse("feedback:swim-pictures", args=[cast.swims["tomas"].pk])
    assert f'data-pictures="{pictures}?part"' in body and f'href="{pictures}"' in body


def test_where_two_people_marked_a_coachs_own_marks_count_as_in_the_list(cast: Cast) -> None:
    swim = marked(cast, cast.swims["tomas"], 0.0)
    other = cast.other_coach
    make_member(cast.harbour, other, "coach")
    leave = swim.marks.get(kind="feet-leave-block")
    leave.pk, leave.placed_by = None, other
    leave.pts_ticks += 2 * 3600
    leave.id = Mark._meta.pk.get_default()  # type: ignore[union-attr]
    leave._state.adding = True
    leave.save()
    group(cast, 5)
    of_one = row(part(page(cast.coach, swim), "clinic"), "Block time")
    of_other = row(part(page(other, swim), "clinic"), "Block time")
    assert of_one.startswith("about 0.78 s") and of_other.startswith("about 0.86 s")


@pytest.mark.parametrize("count", [1, 5, 40])
def test_many_swims_cost_the_same_queries(cast: Cast, count: int) -> None:
    swim = marked(cast, cast.swims["tomas"], 0.0)
    group(cast, 5)
    for number in range(2, count + 2):
        swim = marked(cast, another_go(cast.swims["tomas"], number), 0.01 * number)
    client, url = sign_in(Client(), cast.coach), reverse("feedback:swim-pictures", args=[swim.pk])
    client.get(url + "?part")  # what is asked once per sign-in
    with CaptureQueriesContext(connection) as asked:
        body = client.get(url + "?part").content.decode()
    assert "Middle of the others" in body and 'class="value' in part(body, "before")
    assert len(asked) == PICTURES_QUERIES
