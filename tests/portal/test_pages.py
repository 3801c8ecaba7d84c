"""Long lists a page at a time: everything is on one page, and on one only."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.http import QueryDict
from django.test import Client
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from clinics.models import Share
from portal.models import PersonRequest
from portal.pages import page_of
from tests import showing
from tests.cast import Cast, sign_in


@given(count=st.integers(0, 60), size=st.integers(1, 20))
def test_each_row_is_on_one_page(count: int, size: int) -> None:
    rows, seen, query = list(range(count)), [], "kind=delete"
    while query:
        asked = QueryDict(query)
        assert asked["kind"] == "delete"  # what else was asked stays
        page = page_of(rows, asked, size=size)
        assert page.total == count and len(page.rows) <= size
        seen += page.rows
        query = page.after
    assert seen == rows and page.number == page.of


@pytest.mark.parametrize(("asked", "number"), [("0", 3), ("-1", 3), ("99", 3), ("x", 1), ("", 1)])
def test_a_number_that_is_none_is_the_first_page_and_one_beyond_the_last(
    asked: str, number: int
) -> None:
    assert page_of(list(range(5)), QueryDict(f"page={asked}"), size=2).number == number


@pytest.mark.django_db
def test_requests_go_over_pages_and_whole_into_the_file(cast: Cast, client: Client) -> None:
    PersonRequest.objects.bulk_create(
        PersonRequest(
            club=cast.harbour,
            subject_kind="clinics.Swimmer",
            subject_id=cast.swims["tomas"].entry.swimmer_id,
            kind="other",
            words=f"wish {number:03d}",
            due_at=cast.clinic.created_at,
        )
        for number in range(70)
    )
    sign_in(client, cast.admin)
    url = reverse("portal:requests", args=[cast.harbour.slug])
    pages = [wishes(client.get(url, {"state": "open", "page": page}).text) for page in (1, 2)]
    assert [len(page) for page in pages] == [50, 20]
    assert not pages[0] & pages[1] and len(pages[0] | pages[1]) == 70
    assert "state=open&amp;page=2" in client.get(url, {"state": "open"}).text
    assert len(wishes(client.get(url, {"as": "csv"}).text)) == 70


def wishes(text: str) -> set[str]:
    return set(re.findall(r"wish \d{3}", text))


@pytest.mark.django_db
def test_links_go_over_pages_without_moving_the_other_lists(cast: Cast, settings: Any) -> None:
    share, _token = showing.link(cast)
    Share.objects.bulk_create(
        Share(
            swim=share.swim,
            made_by=cast.tomas,
            token_hash=f"{number:064d}",
            note=f"wish {number:03d}",
            expires_at=share.expires_at,
        )
        for number in range(60)
    )
    client = sign_in(Client(), cast.tomas)
    first, second = (client.get(reverse("feedback:shown"), {"links": n}).text for n in (1, 2))
    assert len(wishes(first) | wishes(second)) == 60 and not wishes(first) & wishes(second)
    assert "links=2" in first and "links=1" in second and "shelf=" not in first
