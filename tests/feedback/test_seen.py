"""Swimmers read who has seen their swims, and nothing about others'."""

from __future__ import annotations

import datetime as dt

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from clinics.models import Share
from feedback.management.demo_seen import note_views
from portal.actions import audit
from portal.models import User
from tests.cast import Cast, sign_in

URL = "/my-swims/seen/"


def watched(cast: Cast, by: User | None, whose: str, action: str = "swim.view") -> None:
    audit.record(action=action, by=by, subject=cast.swims[whose], club=cast.harbour)


def shown(client: Client, **asked: str) -> str:
    response = client.get(URL, asked)
    assert response.status_code == 200
    return response.content.decode()


@pytest.fixture
def tomas(cast: Cast, client: Client) -> Client:
    watched(cast, cast.coach, "tomas")
    watched(cast, cast.checker, "wren")
    watched(cast, cast.tomas, "tomas")
    return sign_in(client, cast.tomas)


def rows_of(page: str) -> list[str]:
    return page.partition("<tbody>")[2].partition("</tbody>")[0].split("</tr>")[:-1]


def test_swimmer_reads_who_watched_and_as_what(tomas: Client) -> None:
    (row,) = rows_of(shown(tomas))
    assert "Ines Aldana" in row and "coach" in row and "watched" in row and "Autumn clinic" in row


def test_others_swims_and_own_visits_are_not_told(tomas: Client) -> None:
    page = shown(tomas)
    assert "Jun Sorley" not in page and "Wren" not in page
    assert "Tomas Birk" not in "".join(rows_of(page))


def test_roles_say_as_what_somebody_saw_it(cast: Cast, tomas: Client) -> None:
    for person in (cast.checker, cast.other_coach, cast.wren):
        watched(cast, person, "tomas")
    page = shown(tomas)
    for role in ("checker", "coach of Quillmoor Tritons", "swam in the same clinic"):
        assert role in page


def test_address_of_somebody_without_a_name_is_not_told(cast: Cast, tomas: Client) -> None:
    User.objects.filter(pk=cast.coach.pk).update(name="")
    page = shown(tomas)
    assert "ines.aldana@" not in page and "somebody who gave no name" in page


def test_downloads_and_openings_of_a_link_are_told(cast: Cast, tomas: Client) -> None:
    watched(cast, cast.coach, "tomas", "take-along.download")
    share = Share.objects.create(
        swim=cast.swims["tomas"],
        token_hash="ab" * 32,
        made_by=cast.tomas,
        expires_at=timezone.now() + dt.timedelta(days=1),
    )
    audit.record(action="share.open", by=None, subject=share, club=cast.harbour)
    page = shown(tomas)
    assert "downloaded a still or film" in page
    assert "somebody with a link" in page and "opened it by a link" in page


def test_what_changes_a_swim_is_no_seeing(cast: Cast, tomas: Client) -> None:
    watched(cast, cast.checker, "tomas", "board.confirm")
    assert len(rows_of(shown(tomas))) == 1


def test_person_who_withdrew_still_reads_who_saw(cast: Cast, client: Client) -> None:
    watched(cast, cast.coach, "sol")
    assert "Ines Aldana" in shown(sign_in(client, cast.sol))


def test_swim_that_is_somebody_elses_tells_nothing(cast: Cast, tomas: Client) -> None:
    """“This is not me” takes it out of sight, its visits too."""
    swim = cast.swims["tomas"]
    swim.person = "wrong"
    swim.save()
    assert "Nobody else has watched" in shown(tomas)


def test_page_goes_on_and_asks_a_bounded_number_of_questions(
    cast: Cast, tomas: Client, monkeypatch
) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as asked:
            shown(tomas)
        return len(asked)

    one = queries()
    for person in (cast.checker, cast.wren):
        watched(cast, person, "tomas")
    assert queries() == one
    monkeypatch.setattr("feedback.views.seen.ON_A_PAGE", 2)
    first = shown(tomas)
    assert len(rows_of(first)) == 2 and "Older ones" in first and "Ines Aldana" not in first
    before = first.partition("?before=")[2].partition('"')[0]
    assert "Ines Aldana" in shown(tomas, before=before)


def test_demo_shows_a_coach_who_watched(cast: Cast, client: Client) -> None:
    assert note_views(cast.clinic) == 2, "Sol withdrew"
    assert "Ines Aldana" in shown(sign_in(client, cast.tomas))
    note_views(cast.clinic)
    assert len(rows_of(shown(client))) == 1, "once per quarter of an hour"
