"""The access record: a club's admins find who saw, changed or was refused what."""

from __future__ import annotations

import csv
import datetime as dt
import io
import uuid

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from portal.actions import audit
from portal.actions.denials import about
from portal.models import AuditEntry
from tests.cast import Cast, sign_in

URL = "/clubs/harbour-lane-masters/access/"


def watched(cast: Cast, who: str, whose: str) -> AuditEntry:
    swim, by = cast.swims[whose], getattr(cast, who)
    return audit.record(action="swim.view", by=by, subject=swim, club=swim.entry.clinic.club)


def shown(client: Client, **asked: str) -> str:
    response = client.get(URL, asked)
    assert response.status_code == 200
    return response.content.decode()


@pytest.fixture
def admin(cast: Cast, client: Client) -> Client:
    watched(cast, "coach", "tomas")
    watched(cast, "checker", "wren")
    watched(cast, "other_admin", "other")
    audit.record(
        action="consent.end",
        by=cast.admin,
        subject=cast.swims["sol"].entry.swimmer,
        club=cast.harbour,
        detail={"purpose": "publish"},
    )
    return sign_in(client, cast.admin)


def test_record_says_who_did_what_about_whom(admin: Client) -> None:
    page = shown(admin)
    for words in ("Ines Aldana", "watched", "Tomas Birk, Autumn clinic", "a consent ended"):
        assert words in page
    assert "Ruben Falk" not in page and "Open clinic" not in page, "another club's"


@pytest.mark.parametrize(
    ("asked", "there", "not_there"),
    [
        ({"who": "aldana"}, "Ines Aldana", "Jun Sorley"),
        ({"who": "jun.sorley@"}, "Jun Sorley", "Ines Aldana"),
        ({"about": "wren"}, "Jun Sorley", "Ines Aldana"),
        ({"sort": "consent"}, "a consent ended", "Ines Aldana"),
        ({"sort": "seen"}, "Ines Aldana", "a consent ended"),
        ({"until_date": "2020-01-01"}, "Nothing like that", "Ines Aldana"),
        ({"from_date": "2020-01-01"}, "Ines Aldana", "Nothing like that"),
        ({"from_date": "nonsense"}, "Ines Aldana", "Nothing like that"),
    ],
)
def test_record_is_searched(
    admin: Client, asked: dict[str, str], there: str, not_there: str
) -> None:
    page = shown(admin, **asked)
    assert there in page and not_there not in page


def test_record_goes_on_page_by_page(admin: Client, cast: Cast, monkeypatch) -> None:
    monkeypatch.setattr("portal.views.access_record.ON_A_PAGE", 2)
    first = shown(admin, sort="seen", who="a")
    assert "Older ones" not in first
    watched(cast, "coach", "sol")
    first = shown(admin, sort="seen")
    assert first.count("<tr id=") == 2 and "Tomas Birk" not in first
    oldest = AuditEntry.objects.filter(action="swim.view", club_id=cast.harbour.pk).order_by("seq")
    assert f"before={oldest[1].seq}" in first
    second = shown(admin, sort="seen", before=str(oldest[1].seq))
    assert "Tomas Birk" in second and "Older ones" not in second and "Newest" in second


def test_table_is_downloaded_with_harmless_cells(admin: Client, cast: Cast) -> None:
    cast.coach.name = "=HYPERLINK()"
    cast.coach.save()
    response = admin.get(URL, {"as": "csv", "sort": "seen"})
    rows = list(csv.DictReader(io.StringIO(response.content.decode("utf-8-sig"))))
    assert [row["who"] for row in rows] == ["Jun Sorley", "'=HYPERLINK()"]
    assert response["Content-Disposition"].startswith("attachment")


def test_person_who_is_gone_has_no_name_here_either(admin: Client, cast: Cast) -> None:
    cast.coach.delete()
    assert "somebody whose account is gone" in shown(admin, sort="seen")


def test_refusal_is_found_by_the_club_whose_thing_it_was(cast: Cast, client: Client) -> None:
    sign_in(client, cast.other_coach)
    client.get(f"/swims/{cast.swims['tomas'].pk}/")
    entry = AuditEntry.objects.get(action="denied")
    assert (entry.club_id, entry.subject_id) == (cast.harbour.pk, str(cast.swims["tomas"].pk))
    page = shown(sign_in(client, cast.admin), sort="denied")
    assert "Edda Varga" in page and "Tomas Birk" in page


def test_refusal_asks_the_same_of_what_is_there_and_what_is_not(cast: Cast) -> None:
    """Else the time of a refusal would say what exists."""
    counts = []
    for pk in (cast.swims["tomas"].pk, cast.clips["wren"][0].pk, uuid.uuid4()):
        with CaptureQueriesContext(connection) as asked:
            about({"pk": pk})
        counts.append(len(asked))
    assert len(set(counts)) == 1


def test_record_asks_the_same_number_of_questions_however_long(admin: Client, cast: Cast) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as asked:
            shown(admin)
        return len(asked)

    few = queries()
    for who in ("coach", "checker", "wren"):
        watched(cast, who, "sol")
    assert queries() == few


def test_day_is_whole(admin: Client) -> None:
    today = dt.datetime.now(dt.UTC).date().isoformat()
    assert "Ines Aldana" in shown(admin, from_date=today, until_date=today)
