"""Clubs, memberships and the ways in without mail."""

from __future__ import annotations

import csv
import datetime as dt
import json
import re
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.utils import timezone

from portal.actions.people import NotPossible, invite
from portal.models import AuditEntry, Club, Membership, OutboxMail, User
from tests.cast import Cast, sign_in
from tests.portal.test_sign_in import ask, signed_in, type_code

PEOPLE = "/clubs/harbour-lane-masters/people/"
INVITED = {
    "email": "Noor.Teller@harbourlane.example",
    "name": "Noor Teller",
    "role": "coach",
    "from_date": "2026-11-01",
    "until_date": "",
}


def test_admin_invites_a_coach_who_gets_a_mail(cast: Cast, client: Client) -> None:
    reply = sign_in(client, cast.admin).post(PEOPLE, INVITED)
    assert reply.status_code == 303
    made = Membership.objects.get(user__email="noor.teller@harbourlane.example")
    assert (made.role, made.from_date, made.club) == ("coach", dt.date(2026, 11, 1), cast.harbour)
    told = OutboxMail.objects.get(to="noor.teller@harbourlane.example")
    assert "Harbour Lane Masters" in told.subject and "/sign-in/" in told.body
    entry = AuditEntry.objects.get(action="person-invited")
    assert entry.actor_id == cast.admin.pk and entry.club_id == cast.harbour.pk
    assert "noor" not in entry.text.lower()
    assert b"Noor Teller" in client.get(PEOPLE).content


def test_inviting_again_renews_and_makes_no_second_person(cast: Cast) -> None:
    for until in (None, dt.date(2027, 1, 31)):
        invite(
            club=cast.harbour,
            email=cast.crew.email.upper(),
            name="Somebody",
            role="crew",
            by=cast.admin,
            until_date=until,
        )
    assert User.objects.get(email=cast.crew.email).name == "Petra Voss"
    assert cast.crew.memberships.get().until_date == dt.date(2027, 1, 31)


def test_dates_the_wrong_way_round_keep_what_was_typed(cast: Cast, client: Client) -> None:
    sign_in(client, cast.admin)
    reply = client.post(PEOPLE, {**INVITED, "until_date": "2026-10-01"})
    assert reply.status_code == 422
    assert b"lies before the first" in reply.content and b"Noor Teller" in reply.content
    assert not User.objects.filter(email__istartswith="noor").exists()


@pytest.mark.parametrize("who", ["other_admin", "coach", "crew", "checker", "tomas"])
def test_people_of_a_club_are_its_admins_business(cast: Cast, client: Client, who: str) -> None:
    sign_in(client, getattr(cast, who))
    theirs = cast.harbour.memberships.get(user=cast.crew)
    end = f"{PEOPLE}{theirs.pk}/end/"
    for reply in (client.get(PEOPLE), client.post(PEOPLE, INVITED), client.post(end)):
        assert reply.status_code == 404
    absent = client.get("/clubs/no-such-club/people/")
    assert absent.content == client.get(PEOPLE).content
    assert not User.objects.filter(email__istartswith="noor").exists()
    theirs.refresh_from_db()
    assert theirs.until_date is None


def test_ending_a_membership_ends_what_they_reach_at_once(cast: Cast, client: Client) -> None:
    second = invite(club=cast.harbour, email=cast.crew.email, name="", role="admin", by=cast.admin)
    Membership.objects.filter(pk=second.pk).update(from_date=dt.date(2026, 10, 1))
    theirs = sign_in(Client(), cast.crew)
    assert theirs.get(PEOPLE).status_code == 200
    sign_in(client, cast.admin).post(f"{PEOPLE}{second.pk}/end/")
    assert theirs.get(PEOPLE).status_code == 404
    assert b"1 ended" in client.get(PEOPLE).content


def test_people_are_a_table_to_take_along(cast: Cast, client: Client) -> None:
    """Read back by Python's csv module; a name is never a formula."""
    User.objects.filter(pk=cast.coach.pk).update(name="=1+1")
    answer = sign_in(client, cast.admin).get(PEOPLE, {"as": "csv"})
    assert answer["Content-Type"].startswith("text/csv")
    rows = list(csv.DictReader(StringIO(answer.content.decode("utf-8-sig"))))
    by_address = {row["e-mail"]: row for row in rows}
    assert len(rows) == cast.harbour.memberships.count()
    assert by_address[cast.coach.email]["name"] == "'=1+1"
    assert by_address[cast.coach.email]["From"] == "2026-10-01"
    assert cast.other_coach.email not in answer.content.decode()


def test_last_admin_cannot_be_ended(cast: Cast, client: Client) -> None:
    own = cast.harbour.memberships.get(user=cast.admin)
    reply = sign_in(client, cast.admin).post(f"{PEOPLE}{own.pk}/end/", follow=True)
    assert b"needs at least one club admin" in reply.content
    own.refresh_from_db()
    assert own.until_date is None


def test_membership_begins_and_ends_by_itself(cast: Cast) -> None:
    today = timezone.localdate()
    day = dt.timedelta(days=1)
    for first, last, now in (
        (today, today, True),
        (today + day, None, False),
        (today - 9 * day, today - day, False),
    ):
        Membership.objects.filter(user=cast.crew).update(from_date=first, until_date=last)
        assert Membership.objects.current().filter(user=cast.crew).exists() is now


# --- commands -------------------------------------------------------------------------------------


def run(*args: str) -> str:
    out = StringIO()
    call_command(*args, stdout=out, stderr=StringIO())
    return out.getvalue()


def printed_code(text: str) -> str:
    return re.search(r"(\d{4} \d{4})", text)[1]


def test_first_admin_makes_the_club_and_the_printed_code_opens_the_door(
    db: None, client: Client
) -> None:
    said = run(
        "first_admin", "mara.lindqvist@harbourlane.example",
        "--club", "harbour-lane", "--club-name", "Harbour Lane Masters",
    )  # fmt: skip
    club = Club.objects.get(slug="harbour-lane")
    assert club.memberships.get().role == "admin"
    ask(client, "mara.lindqvist@harbourlane.example")
    reply = type_code(client, printed_code(said))
    assert reply.status_code == 303 and signed_in(client)
    assert client.get("/clubs/", headers={"Accept": "text/html"})["Location"].startswith(
        "/account/second-factor/"
    )
    actions = set(AuditEntry.objects.values_list("action", flat=True))
    assert {"first-admin", "let-in"} <= actions


def test_first_admin_is_refused_where_there_is_one(cast: Cast) -> None:
    with pytest.raises(CommandError, match="has an admin") as refused:
        run("first_admin", "noor.teller@harbourlane.example", "--club", cast.harbour.slug)
    assert refused.value.returncode == 2
    with pytest.raises(CommandError, match="--club-name"):
        run("first_admin", "noor.teller@harbourlane.example", "--club", "no-such-club")
    assert not User.objects.filter(email__istartswith="noor").exists()


def test_let_in_prints_a_code_that_works_once_in_any_browser(cast: Cast) -> None:
    way = json.loads(run("let_in", cast.tomas.email, "--json"))
    assert way["url"].endswith("/sign-in/")
    first, second = Client(), Client()
    for browser in (first, second):
        ask(browser, cast.tomas.email)
        type_code(browser, way["code"])
    assert signed_in(first) and not signed_in(second)
    entry = AuditEntry.objects.get(action="let-in")
    assert entry.subject_id == str(cast.tomas.pk) and cast.tomas.email not in entry.text


def test_let_in_code_is_not_good_for_another_address(cast: Cast, client: Client) -> None:
    way = json.loads(run("let_in", cast.tomas.email, "--json"))
    ask(client, cast.wren.email)
    type_code(client, way["code"])
    assert not signed_in(client)


def test_let_in_of_a_stranger_is_bad_input(cast: Cast) -> None:
    with pytest.raises(CommandError, match=r"no\.one@elsewhere\.example") as refused:
        run("let_in", "no.one@elsewhere.example")
    assert refused.value.returncode == 2


def test_deactivate_ends_every_session_at_once(cast: Cast) -> None:
    browsers = [Client(), Client()]
    for browser in browsers:
        sign_in(browser, cast.tomas)
        assert browser.get("/account/").status_code == 200
    run("deactivate", cast.tomas.email)
    assert {browser.get("/account/").status_code for browser in browsers} == {401}
    assert AuditEntry.objects.filter(action="user-deactivated").exists()
    with pytest.raises(NotPossible, match="account is closed"):
        invite(club=cast.harbour, email=cast.tomas.email, name="", role="crew", by=cast.admin)
    run("deactivate", cast.tomas.email, "--undo")
    assert User.objects.get(pk=cast.tomas.pk).is_active
