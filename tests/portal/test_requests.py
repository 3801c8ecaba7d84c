"""Requests about one's data: a month to answer, in words, on a page for the club's admins."""

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
from django.utils import timezone

from portal.actions import audit
from portal.actions.requests import NotPossible, a_month_after, answer, make_request, take_back
from portal.csv_out import BYTE_ORDER_MARK
from portal.models import AuditEntry, OutboxMail, PersonRequest
from tests.cast import Cast, sign_in


def wish(cast: Cast, kind: str = "other", **more: Any) -> PersonRequest:
    told = {
        "club": cast.harbour,
        "user": cast.tomas,
        "by": cast.tomas,
        "subject_kind": "clinics.Swimmer",
        "subject_id": cast.swims["tomas"].entry.swimmer_id,
        "words": "What do you keep?",
    }
    return make_request(kind=kind, **{**told, **more})


@pytest.mark.parametrize(
    ("asked", "due"),
    [("2026-11-29", "2026-12-29"), ("2027-01-31", "2027-02-28"), ("2026-12-05", "2027-01-05")],
)
def test_a_month_is_the_same_day_or_the_last(asked: str, due: str) -> None:
    """GDPR, Article 12(3): within one month of receipt."""
    at = dt.datetime.fromisoformat(asked)
    assert a_month_after(at) == dt.datetime.fromisoformat(due)


def test_asking_tells_the_admins_and_the_trail(cast: Cast) -> None:
    row = wish(cast)
    assert row.due_at == a_month_after(row.made_at)
    (mail,) = OutboxMail.objects.filter(to=cast.admin.email)
    assert "Tomas" not in mail.subject + mail.body and "keep?" not in mail.body
    assert AuditEntry.objects.filter(action="request.make", subject_id=str(row.pk)).exists()


def test_asked_twice_it_is_one(cast: Cast) -> None:
    assert wish(cast, "keep-longer").pk == wish(cast, "keep-longer").pk
    assert wish(cast).pk != wish(cast).pk  # but two questions are two


def test_the_page_lists_what_waits_first(cast: Cast, client: Client) -> None:
    done = answer(
        request=wish(cast, words="older wish"), by=cast.admin, granted=True, words="Here."
    )
    late = wish(cast, words="newer wish")
    PersonRequest.objects.filter(pk=late.pk).update(due_at=timezone.now() - dt.timedelta(days=1))
    sign_in(client, cast.admin)
    page = client.get(reverse("portal:requests", args=[cast.harbour.slug])).text
    assert (
        page.index("newer wish") < page.index("older wish")
        and "late" in page
        and "Tomas Birk" in page
    )
    only = client.get(reverse("portal:requests", args=[cast.harbour.slug]), {"state": "ended"})
    assert "older wish" in only.text and "newer wish" not in only.text
    assert done.state == "done"


def test_the_table_goes_out_as_csv(cast: Cast, client: Client) -> None:
    wish(cast, words="=1+1")
    sign_in(client, cast.admin)
    url = reverse("portal:requests", args=[cast.harbour.slug])
    text = client.get(url, {"as": "csv"}).content.decode().removeprefix(BYTE_ORDER_MARK)
    (row,) = csv.DictReader(io.StringIO(text))
    assert (row["about"], row["words"], row["state"]) == ("Tomas Birk", "'=1+1", "open")


def test_many_requests_take_no_more_queries_than_one(cast: Cast, client: Client) -> None:
    sign_in(client, cast.admin)
    url = reverse("portal:requests", args=[cast.harbour.slug])
    counts = []
    for _n in range(3):
        wish(cast)
        with CaptureQueriesContext(
            connection,
        ) as queries:
            client.get(url)
        counts.append(len(queries))
    assert counts[0] == counts[2]


def test_an_answer_goes_to_the_person(cast: Cast, client: Client) -> None:
    row = wish(cast)
    sign_in(client, cast.admin)
    url = reverse("portal:request-answer", args=[cast.harbour.slug, row.pk])
    assert client.post(url, {"granted": "yes", "words": " "}).status_code == 422
    client.post(url, {"granted": "no", "words": "We cannot tell who you are."})
    row.refresh_from_db()
    assert (row.state, row.answered_by) == ("refused", cast.admin)
    assert OutboxMail.objects.filter(to=cast.tomas.email).count() == 1
    sign_in(client, cast.tomas)
    assert "We cannot tell who you are." in client.get(reverse("clinics:my-data")).text
    assert audit.verify_chain().broken_at is None


def test_answered_once(cast: Cast) -> None:
    row = wish(cast)
    answer(request=row, by=cast.admin, granted=True, words="Here it is.")
    with pytest.raises(NotPossible):
        answer(request=row, by=cast.admin, granted=False, words="No.")
    with pytest.raises(NotPossible):
        take_back(request=row, by=cast.tomas)


def test_yes_to_an_erasure_leaves_it_to_its_day(cast: Cast) -> None:
    day = timezone.now() + dt.timedelta(days=7)
    row = wish(cast, "erase", state="waiting", act_at=day)
    row = answer(request=row, by=cast.admin, granted=True, words="It will be gone.")
    assert (row.state, row.act_at) == ("waiting", day)
    row = answer(request=row, by=cast.admin, granted=False, words="A claim is open.")
    assert row.state == "refused"


def test_an_admin_elsewhere_knows_of_nothing(cast: Cast, client: Client) -> None:
    row = wish(cast)
    sign_in(client, cast.other_admin)
    slug = cast.quillmoor.slug
    assert "Tomas" not in client.get(reverse("portal:requests", args=[slug])).text
    assert client.get(reverse("portal:request-answer", args=[slug, row.pk])).status_code == 404


def test_noting_a_wish_wants_a_fresh_sign_in(cast: Cast, client: Client) -> None:
    sign_in(client, cast.admin, fresh=False)
    answered = client.get(reverse("portal:request-note", args=[cast.harbour.slug]))
    assert answered.status_code == 303 and reverse("portal:fresh") in answered["Location"]


def test_only_people_of_the_club_are_offered(cast: Cast, client: Client) -> None:
    sign_in(client, cast.admin)
    url = reverse("portal:request-note", args=[cast.harbour.slug])
    page = client.get(url).text
    assert "Wren Okada" in page and "Kit Maddern" not in page
    elsewhere = cast.swims["other"].entry.swimmer_id
    answered = client.post(url, {"swimmer": elsewhere, "kind": "erase", "words": ""})
    assert answered.status_code == 422 and not PersonRequest.objects.exists()
