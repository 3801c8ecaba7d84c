"""What coaches take along of a clinic's measures, and who may."""

from __future__ import annotations

import csv
import datetime as dt
import io
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinics.models import Swim, Swimmer
from feedback.actions.measures_out import columns_of, header_of
from portal.csv_out import BYTE_ORDER_MARK
from portal.models import AuditEntry, Membership
from tests.cast import Cast, sign_in
from tests.feedback.marked_swims import mark_swim
from tests.feedback.said import another_go

TABLE_QUERIES = 7


@pytest.fixture(autouse=True)
def no_second_factor(settings: Any) -> None:
    settings.SECOND_FACTOR_REQUIRED = False


def marked(cast: Cast) -> Swim:
    swim = cast.swims["tomas"]
    mark_swim(swim, cast.recordings["start-side"], cast.coach)
    return swim


def table(cast: Cast, user: Any = None) -> list[dict[str, str]]:
    url = reverse("feedback:measures-csv", args=[cast.clinic.pk])
    answer = sign_in(Client(), user or cast.coach).get(url)
    assert answer.status_code == 200
    text = answer.content.decode()
    assert text.startswith(BYTE_ORDER_MARK)
    return list(csv.DictReader(io.StringIO(text.removeprefix(BYTE_ORDER_MARK), newline="")))


def test_a_row_says_whose_swim_it_is_and_each_measure_with_its_half_width(cast: Cast) -> None:
    marked(cast)
    rows = table(cast)
    row = rows[0]
    assert [(r["number"], r["name"]) for r in rows] == [("1", "Tomas Birk"), ("2", "Wren Okada")]
    assert (row["stroke"], row["start"], row["group"], row["go"]) == (
        "freestyle",
        "block",
        "A",
        "1",
    )
    assert row["start_at"] == "2026-11-14T10:12:30.250000Z"
    assert (row["start_kind"], row["start_s_u95"]) == ("tap", "0.294")  # 1.96 * 150 ms
    # the truth: 4.62 s, between two frames of 0.04 s, against a tap of ± 0.294 s
    assert float(row["breakout_s"]) == pytest.approx(4.62, abs=0.021)
    assert float(row["breakout_s_u95"]) == pytest.approx(0.296, abs=0.004)
    assert float(row["flight_time_s_u95"]) == pytest.approx(0.04 * 0.7764, abs=0.001)
    assert float(row["time_to_10_m_s"]) == pytest.approx(5.35, abs=0.021)
    assert row["stroke_count_length_1"] == "9"
    assert "stroke_count_length_1_u95" not in row
    assert float(row["stroke_rate_length_1_per_min"]) == pytest.approx(30 / 0.62, rel=0.01)
    assert (row["turn_from_m"], row["turn_to_m"]) == ("5.0", "10.0")
    assert rows[1]["breakout_s"] == "" and rows[1]["marks"] == "0"  # nobody marked anything


def test_columns_are_those_of_the_clinic_whatever_was_marked(cast: Cast) -> None:
    before = header_of(columns_of(cast.clinic))
    assert list(table(cast)[0]) == before
    marked(cast)
    assert list(table(cast)[0]) == before
    assert len(set(before)) == len(before)
    assert "turn_contact_wall_1_s" in before and "turn_contact_wall_2_s" not in before
    cast.clinic.distance_m = 60.0  # ends between two walls: the second is left again
    longer = header_of(columns_of(cast.clinic))
    assert "turn_contact_wall_2_s" in longer and "turn_contact_wall_3_s" not in longer
    assert "stroke_rate_length_3_per_min" in longer
    cast.clinic.distance_m, cast.clinic.course_m = 100.0, 33.3  # three lengths to a hundred
    thirds = header_of(columns_of(cast.clinic))
    assert "stroke_rate_length_3_per_min" in thirds
    assert not [name for name in thirds if "length_4" in name or "wall_3" in name]


def test_a_name_is_no_formula(cast: Cast) -> None:
    Swimmer.objects.filter(user=cast.tomas).update(name="=HYPERLINK(1)")
    assert table(cast)[0]["name"] == "'=HYPERLINK(1)"  # a cell is never a formula


def test_what_was_not_passed_on_or_is_withdrawn_is_not_in_it(cast: Cast) -> None:
    numbers = {row["number"] for row in table(cast)}
    assert numbers == {"1", "2"}  # 3 withdrew
    Swim.objects.filter(pk=cast.swims["wren"].pk).update(passed_at=None, given_at=None)
    assert {row["number"] for row in table(cast)} == {"1"}


def test_another_clubs_coach_gets_their_own_clinic_only(cast: Cast) -> None:
    client = sign_in(Client(), cast.other_coach)
    for name in ("measures-csv", "measures-package"):
        assert client.get(reverse(f"feedback:{name}", args=[cast.clinic.pk])).status_code == 404
    body = client.get(reverse("feedback:measures-out")).content.decode()
    assert "Open clinic" in body and "Autumn clinic" not in body
    own = client.get(reverse("feedback:measures-csv", args=[cast.other_clinic.pk])).content.decode()
    assert "Kit Maddern" in own and "Tomas Birk" not in own


@pytest.mark.parametrize("who", ["tomas", "checker", "crew", "admin"])
def test_nobody_but_coaches_takes_measures_along(cast: Cast, who: str) -> None:
    client = sign_in(Client(), getattr(cast, who))
    for name in ("measures-csv", "measures-package"):
        assert client.get(reverse(f"feedback:{name}", args=[cast.clinic.pk])).status_code == 404
    assert "You coach no clinic." in client.get(reverse("feedback:measures-out")).content.decode()


def test_who_no_longer_coaches_gets_nothing(cast: Cast) -> None:
    Membership.objects.filter(user=cast.coach).update(until_date=dt.date(2026, 10, 2))
    client = sign_in(Client(), cast.coach)
    url = reverse("feedback:measures-csv", args=[cast.clinic.pk])
    assert client.get(url).status_code == 404


def test_the_record_says_who_took_it(cast: Cast) -> None:
    table(cast)
    entry = AuditEntry.objects.get(action="measures.take")
    assert entry.actor_id == cast.coach.pk
    assert entry.club_id == cast.harbour.pk
    client = sign_in(Client(), cast.coach)
    client.head(reverse("feedback:measures-csv", args=[cast.clinic.pk]))
    assert AuditEntry.objects.filter(action="measures.take").count() == 1


def test_the_queue_leads_to_it(cast: Cast) -> None:
    body = sign_in(Client(), cast.coach).get(reverse("feedback:waiting")).content.decode()
    assert reverse("feedback:measures-out") in body


@pytest.mark.parametrize("count", [1, 3])
def test_one_and_three_swims_cost_the_same_queries(cast: Cast, count: int) -> None:
    swim = marked(cast)
    for number in range(2, count + 1):
        go = another_go(swim, number)
        mark_swim(go, cast.recordings["start-side"], cast.coach)
    url = reverse("feedback:measures-csv", args=[cast.clinic.pk])
    client = sign_in(Client(), cast.coach)
    client.get(url)
    with CaptureQueriesContext(connection) as asked:
        answer = client.head(url)
    assert answer.status_code == 200
    assert len(asked) == TABLE_QUERIES
