"""A swimmer's measures over clinics: what is told apart, what is not, and whose it is."""

from __future__ import annotations

import html
import re
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinics.models import Swim, Swimmer
from feedback.actions.progress import Series, difference, measured_swims, own_swims
from feedback.models import Mark
from portal.models import Hold
from tests.cast import Cast, make_recording, sign_in
from tests.feedback.marked_swims import mark_swim
from tests.feedback.measuring.swims import TRUTH
from tests.feedback.said import another_go
from tests.feedback.two_swims import EARLIER, earlier_clinic, enter, film, last_time, swim_of

PROGRESS_QUERIES = 9
MINE = "feedback:my-progress"


@pytest.fixture(autouse=True)
def no_second_factor(settings: Any) -> None:
    settings.SECOND_FACTOR_REQUIRED = False


def heard(swim: Swim) -> Swim:
    """Its start was heard, so that it is known to milliseconds."""
    Swim.objects.filter(pk=swim.pk).update(start_kind="heard", start_u_ms=4.0)
    swim.refresh_from_db()
    return swim


def two_clinics(cast: Cast, *, slower_s: float = 0.4) -> tuple[Swim, Swim]:
    """Three weeks ago and now; then everything was that much later."""
    before, now = last_time(cast), heard(cast.swims["tomas"])
    recording = before.clips.first().recording  # type: ignore[union-attr]
    mark_swim(before, recording, cast.coach, slower_s=slower_s)
    mark_swim(now, cast.recordings["start-side"], cast.coach)
    return before, now


def page(user: Any, name: str, *args: Any) -> str:
    answer = sign_in(Client(), user).get(reverse(name, args=args))
    assert answer.status_code == 200
    return html.unescape(answer.content.decode()).replace("\u00a0", " ")


def test_what_differs_by_more_than_its_half_width_is_said(cast: Cast) -> None:
    two_clinics(cast)
    body = page(cast.tomas, MINE)
    assert re.search(r"Faster to 10 m than on 24 October 2026 by 0\.4\d? s ± 0\.\d+ s\.", body)
    # the same between its own events: the turn was no other
    assert "At the wall, wall 1: no difference from the swim on 24 October 2026" in body
    assert "wall 1" not in body.split("<h3>")[1].split("</ul>")[0]
    assert re.search(r"No difference that could be told: [^.]*At the wall, wall 1", body)
    assert "Strokes" not in body.split("The newest against the time before")[1].split("</ul>")[0]


def test_what_differs_by_less_is_not_told_apart(cast: Cast) -> None:
    two_clinics(cast, slower_s=0.04)
    body = page(cast.tomas, MINE)
    assert "Time to 10 m: no difference from the swim on 24 October 2026" in body
    assert "Faster" not in body and "Slower" not in body
    told, _left_out = measured_swims(own_swims(cast.tomas), cast.tomas)
    points = [(one.swim, one.measured.get("time-to-distance", at_m=10.0)) for one in told]
    half = difference(points[1], points[0]).half_width_95  # type: ignore[arg-type]
    limit = re.search(r"Time to 10 m: no [^.]*\. It would have to be more than (\S+) s", body)
    assert limit and half <= float(limit[1]) < 1.1 * half  # rounded up, as each ± is


def test_two_swims_have_two_starts(cast: Cast) -> None:
    """Both were tapped to 150 ms: their difference is off by sqrt(2) of that, and not by none."""
    before, now = two_clinics(cast)
    Swim.objects.filter(pk__in=[before.pk, now.pk]).update(start_kind="tap", start_u_ms=150.0)
    told, _left_out = measured_swims(own_swims(cast.tomas), cast.tomas)
    points = [(one.swim, one.measured.get("breakout-time")) for one in told]
    apart = difference(points[1], points[0])  # type: ignore[arg-type]
    assert apart.value == pytest.approx(-0.4, abs=0.04)
    assert apart.u == pytest.approx((2 * (0.150**2 + 0.012**2 + 0.02**2 / 3)) ** 0.5, rel=0.01)
    assert "Faster" not in page(cast.tomas, MINE)


def test_the_newest_stands_against_the_clinic_before_not_the_go_before(cast: Cast) -> None:
    before, now = two_clinics(cast)
    second = another_go(now, 2)
    mark_swim(second, cast.recordings["start-side"], cast.coach)
    body = page(cast.tomas, MINE)
    assert "Faster to 10 m than on 24 October 2026" in body
    assert "14 November 2026, go 2" in body
    Mark.objects.filter(swim=before).delete()
    assert "Time to 10 m: no difference from the swim in go 1 of the same day" in page(
        cast.tomas, MINE
    )


def test_each_picture_has_its_figures_as_a_table(cast: Cast) -> None:
    before, now = two_clinics(cast)
    body = page(cast.tomas, MINE)
    pictures = re.findall(r'<section class="card picture">(.*?)</section>', body, re.S)
    assert len(pictures) > 8
    for picture in pictures:
        dots, rows = picture.count('<svg class="dot'), picture.count('<th scope="row">')
        assert dots <= rows and rows >= 2
    ten = next(one for one in pictures if "<h4>Time to 10 m</h4>" in one)
    assert [reverse("feedback:swim", args=[one.pk]) in ten for one in (before, now)] == [True] * 2
    assert re.search(r"5\.\d+ s ± 0\.0\d+ s", ten)
    assert "24 Oct 2026" in ten and "14 Nov 2026" in ten


def test_the_time_of_the_newest_swim_is_divided(cast: Cast) -> None:
    two_clinics(cast)
    body = page(cast.tomas, MINE)
    spent = body.split("Where the time went", 1)[1]
    assert "Until the wall at 25 m: 14.5" in spent
    for words in ("Start, until the first entry", "Under water", "Swimming"):
        assert words in spent
    shares = [int(one) for one in re.findall(r"(\d+) % of it", spent)]
    assert sum(shares) == 100


def test_a_swim_without_enough_marks_says_what_it_needs(cast: Cast) -> None:
    mark_swim(cast.swims["tomas"], cast.recordings["start-side"], cast.coach, truth=TRUTH[:4])
    body = page(cast.tomas, MINE)
    assert "Where the time went cannot be told" in body
    assert "Measured on one swim" in body and "Flight time" in body


def test_other_strokes_starts_and_pools_are_not_compared(cast: Cast) -> None:
    before, now = two_clinics(cast)
    type(before.entry).objects.filter(pk=before.entry_id).update(start="water")
    body = page(cast.tomas, MINE)
    assert "Freestyle, from the block, 25 m pool" in body
    assert "Freestyle, in the water, 25 m pool" in body
    assert "than on" not in body and "no difference" not in body
    assert now.entry.start == "block"


def test_nothing_measured_is_said(cast: Cast) -> None:
    assert "Nothing is measured yet" in page(cast.tomas, MINE)


def test_a_couple_with_one_sign_in_is_not_one_swimmer(cast: Cast) -> None:
    two_clinics(cast)
    mark_swim(cast.swims["wren"], cast.recordings["start-side"], cast.coach)
    Swimmer.objects.filter(user=cast.wren).update(user=cast.tomas)
    body = page(cast.tomas, MINE)
    assert re.findall(r"<h2>(.*?)</h2>", body)[0::2] == ["Tomas Birk", "Wren Okada"]
    assert body.count("than on 24 October 2026") == body.split("Wren Okada")[0].count(
        "than on 24 October 2026"
    )
    of_one = page(cast.tomas, "feedback:progress", cast.swims["wren"].pk)
    assert "Tomas Birk" not in of_one.split("</header>")[-1]


# --- who sees what ------------------------------------------------------------------------------


def dates(body: str) -> set[str]:
    return {day for day in ("24 October 2026", "14 November 2026") if day in body}


def test_a_swim_not_given_is_the_coachs_alone(cast: Cast) -> None:
    before, now = two_clinics(cast)
    Swim.objects.filter(pk=before.pk).update(given_at=None, given_by=None)
    assert dates(page(cast.tomas, MINE)) == {"14 November 2026"}
    assert dates(page(cast.tomas, "feedback:progress", now.pk)) == {"14 November 2026"}
    assert len(dates(page(cast.coach, "feedback:progress", now.pk))) == 2


def test_what_is_held_is_out_of_sight_for_everyone(cast: Cast) -> None:
    before, now = two_clinics(cast)
    Hold.objects.create(
        subject_kind="clinics.Swim",
        subject_id=before.pk,
        reason="asked",
        owner=cast.admin,
        review_on=EARLIER.date(),
    )
    assert dates(page(cast.tomas, MINE)) == {"14 November 2026"}
    assert dates(page(cast.coach, "feedback:progress", now.pk)) == {"14 November 2026"}


def test_nobody_elses_swims_are_among_ones_own(cast: Cast) -> None:
    mark_swim(cast.swims["wren"], cast.recordings["start-side"], cast.coach)
    mark_swim(cast.swims["other"], cast.recordings["other"], cast.other_coach)
    for user in (cast.tomas, cast.coach, cast.other_coach, cast.admin, cast.checker):
        assert "Nothing is measured yet" in page(user, MINE)
    client = sign_in(Client(), cast.tomas)
    for key in ("wren", "sol", "other"):
        url = reverse("feedback:progress", args=[cast.swims[key].pk])
        assert client.get(url).status_code == 404


def test_a_swimmer_of_two_clubs_sees_both_and_each_coach_their_own(cast: Cast) -> None:
    """Kit Maddern of the other club is Tomas Birk's account and name there."""
    _before, now = two_clinics(cast)
    there = cast.swims["other"]
    Swimmer.objects.filter(pk=there.entry.swimmer_id).update(user=cast.tomas, name="Tomas Birk")
    mark_swim(heard(there), cast.recordings["other"], cast.other_coach)
    other_url = reverse("feedback:swim", args=[there.pk])
    now_url = reverse("feedback:swim", args=[now.pk])
    mine = page(cast.tomas, MINE)
    assert other_url in mine and now_url in mine
    here = page(cast.coach, "feedback:progress", now.pk)
    assert now_url in here and other_url not in here
    elsewhere = page(cast.other_coach, "feedback:progress", there.pk)
    assert other_url in elsewhere and now_url not in elsewhere


def test_pages_lead_to_it(cast: Cast) -> None:
    assert reverse(MINE) in page(cast.tomas, "feedback:my-swims")
    url = reverse("feedback:progress", args=[cast.swims["tomas"].pk])
    assert url in page(cast.coach, "feedback:swim", cast.swims["tomas"].pk)


@pytest.mark.parametrize("count", [1, 3, 40])
def test_one_and_forty_swims_cost_the_same_queries(cast: Cast, count: int) -> None:
    clinic = earlier_clinic(cast)
    recording = make_recording(
        film(cast, clinic, "start-side", EARLIER).station,
        cast.crew,
        zero_at=EARLIER,
        frames=100,
    )
    first = swim_of(cast, enter(clinic, cast.swims["tomas"].entry.swimmer))
    for number in range(1, count + 1):
        swim = first if number == 1 else another_go(first, number)
        mark_swim(swim, recording, cast.coach, slower_s=0.01 * number)
    client = sign_in(Client(), cast.tomas)
    client.get(reverse(MINE))  # what is asked once per sign-in
    with CaptureQueriesContext(connection) as asked:
        body = client.get(reverse(MINE)).content.decode()
    assert f"{count} swim" in body
    assert len(asked) == PROGRESS_QUERIES


def test_the_swim_before_is_of_another_clinic_if_there_is_one(cast: Cast) -> None:
    before, now = two_clinics(cast)
    second = another_go(now, 2)
    rows = [(one, None) for one in (before, now, second)]
    assert Series(tuple(rows)).before()[0] == before  # type: ignore[arg-type,index]
    assert Series(tuple(rows[1:])).before()[0] == now  # type: ignore[arg-type,index]
    assert Series(tuple(rows[:1])).before() is None  # type: ignore[arg-type]
