"""Sign-in with a one-time code by mail."""

from __future__ import annotations

import datetime as dt
import re
import threading

import pytest
from django.contrib.sessions.models import Session
from django.core import mail
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from clinics.models import Swimmer
from portal.actions.job_worker import drain
from portal.actions.tidy import forget_what_is_old
from portal.models import (
    Attempt,
    AuditEntry,
    Club,
    KnownDevice,
    OutboxMail,
    SignInCode,
    User,
)
from tests.cast import Cast

ROSTER = "lucie.brandt@harbourlane.example"


def ask(client: Client, email: str, **headers: str):
    return client.post("/sign-in/", {"email": email}, **headers)


def code_for(email: str) -> str:
    """The code as the mail says it, before it is sent."""
    body = OutboxMail.objects.filter(to=email).latest("created_at").body
    return re.search(r"#code=(\d{8})\b", body)[1]


def type_code(client: Client, code: str, **fields: str):
    return client.post("/sign-in/code/", {"code": code, "own_device": "on", **fields})


def signed_in(client: Client) -> bool:
    return "_auth_user_id" in client.session


def on_a_roster(club: Club, name: str = "Lucie Brandt", email: str = ROSTER) -> Swimmer:
    return Swimmer.objects.create(club=club, name=name, email=email)


def test_code_from_the_mail_signs_in_and_leads_on(cast: Cast, client: Client) -> None:
    client.post("/sign-in/", {"email": cast.tomas.email.upper(), "next": "/account/"})
    before = client.session.session_key
    reply = type_code(client, code_for(cast.tomas.email))
    assert (reply.status_code, reply["Location"]) == (303, "/account/")
    assert client.session["_auth_user_id"] == str(cast.tomas.pk)
    assert client.session.session_key != before
    assert client.get("/account/").status_code == 200


def test_code_may_be_typed_as_the_mail_groups_it(cast: Cast, client: Client) -> None:
    ask(client, cast.tomas.email)
    code = code_for(cast.tomas.email)
    assert f"{code[:4]} {code[4:]}" in OutboxMail.objects.latest("created_at").body
    type_code(client, f" {code[:4]} {code[4:]} ")
    assert signed_in(client)


def test_next_never_leads_to_another_site(cast: Cast, client: Client) -> None:
    client.post("/sign-in/", {"email": cast.tomas.email, "next": "https://elsewhere.example/"})
    assert type_code(client, code_for(cast.tomas.email))["Location"] == "/"


def test_reading_the_pages_uses_nothing_up(cast: Cast, client: Client) -> None:
    """A mail scanner or a prefetch sends GET or HEAD (RFC 9110, 9.2.1: safe methods)."""
    ask(client, cast.tomas.email)
    code = code_for(cast.tomas.email)
    for path in ("/sign-in/confirm/", "/sign-in/code/", f"/sign-in/code/?code={code}"):
        for browser in (client, Client()):
            browser.get(path)
            browser.head(path)
            browser.get(path, headers={"Sec-Purpose": "prefetch"})
            assert not signed_in(browser)
    type_code(client, code)
    assert signed_in(client)


def test_confirm_page_posts_only_in_the_browser_that_asked(cast: Cast, client: Client) -> None:
    ask(client, cast.tomas.email)
    assert b'action="/sign-in/code/"' in client.get("/sign-in/confirm/").content
    elsewhere = Client()
    reply = elsewhere.get("/sign-in/confirm/")
    assert b'action="/sign-in/code/"' not in reply.content
    assert "session" not in elsewhere.cookies


def test_code_is_worth_nothing_in_another_browser(cast: Cast, client: Client) -> None:
    """Even in one that asked for the same address itself."""
    ask(client, cast.tomas.email)
    code = code_for(cast.tomas.email)
    other = Client()
    ask(other, cast.tomas.email)
    assert type_code(other, code).status_code == 422
    assert not signed_in(other)
    type_code(client, code)
    assert signed_in(client)


def test_code_post_needs_the_csrf_token(cast: Cast) -> None:
    client = Client(enforce_csrf_checks=True)
    token = re.search(
        r'name="csrfmiddlewaretoken" value="([^"]+)"', client.get("/sign-in/").content.decode()
    )[1]
    client.post("/sign-in/", {"email": cast.tomas.email, "csrfmiddlewaretoken": token})
    code = code_for(cast.tomas.email)
    assert type_code(client, code).status_code == 403
    assert type_code(client, code, csrfmiddlewaretoken=token).status_code == 303


def test_code_works_once(cast: Cast, client: Client) -> None:
    ask(client, cast.tomas.email)
    code, asked = code_for(cast.tomas.email), client.session["sign_in"]
    type_code(client, code)
    again = Client()
    session = again.session
    session["sign_in"] = asked
    session.save()
    assert type_code(again, code).status_code == 422
    assert not signed_in(again)


def test_code_is_good_for_ten_minutes_at_most(cast: Cast, client: Client) -> None:
    ask(client, cast.tomas.email)
    row = SignInCode.objects.get()
    assert row.expires_at - row.created_at <= dt.timedelta(minutes=10, seconds=1)
    SignInCode.objects.update(expires_at=timezone.now())
    assert type_code(client, code_for(cast.tomas.email)).status_code == 422
    assert not signed_in(client)


def test_asking_again_ends_the_code_before(cast: Cast, client: Client) -> None:
    ask(client, cast.tomas.email)
    first = code_for(cast.tomas.email)
    ask(client, cast.tomas.email)
    type_code(client, first)
    assert not signed_in(client)


def test_five_wrong_codes_end_the_code(cast: Cast, client: Client) -> None:
    ask(client, cast.tomas.email)
    right = code_for(cast.tomas.email)
    wrong = f"{(int(right) + 1) % 10**8:08d}"
    for _ in range(5):
        assert type_code(client, wrong).status_code == 422
    assert type_code(client, right).status_code == 429
    assert not signed_in(client)


def test_only_hashes_are_stored_and_the_mail_is_blanked(cast: Cast, client: Client) -> None:
    ask(client, cast.tomas.email)
    code, row = code_for(cast.tomas.email), SignInCode.objects.get()
    kept = " ".join(str(value) for value in vars(row).values())
    assert code not in kept and client.session["sign_in"]["secret"] not in kept
    drain()
    assert code[:4] + " " + code[4:] in mail.outbox[0].body
    sent = OutboxMail.objects.get()
    assert sent.state == "sent"
    assert code not in sent.body and code[:4] not in sent.body


def test_every_address_looks_the_same(cast: Cast) -> None:
    """Unknown, a user's, one on a roster, a closed account's (ASVS 6.3.8)."""
    on_a_roster(cast.harbour)
    gone = User.objects.create_user("ada.quist@harbourlane.example", "Ada Quist", is_active=False)
    seen = []
    for address in ("no.one@elsewhere.example", cast.tomas.email, ROSTER, gone.email):
        client = Client(REMOTE_ADDR=f"203.0.113.{len(seen) + 1}")
        client.get("/sign-in/")
        outbox, codes = OutboxMail.objects.count(), SignInCode.objects.count()
        with CaptureQueriesContext(connection) as queries:
            reply = ask(client, address)
        query_count = len(queries)
        page = client.get(reply["Location"])
        body = page.content.decode().replace(address, "ADDRESS")
        body = re.sub(r'(csrfmiddlewaretoken" value=)"[^"]+"', r"\1", body)
        seen.append(
            (
                reply.status_code,
                reply["Location"],
                body,
                query_count,
                OutboxMail.objects.count() - outbox,
                SignInCode.objects.count() - codes,
            )
        )
    assert seen[0][3] > 5
    assert all(look == seen[0] for look in seen)
    unknown = OutboxMail.objects.get(to="no.one@elsewhere.example")
    closed = OutboxMail.objects.get(to=gone.email)
    assert unknown.state == closed.state == "dropped"
    assert OutboxMail.objects.filter(state="waiting").count() == 2


def test_code_told_to_nobody_does_not_sign_in(cast: Cast, client: Client) -> None:
    ask(client, "no.one@elsewhere.example")
    type_code(client, code_for("no.one@elsewhere.example"))
    assert not signed_in(client)
    assert not User.objects.filter(email="no.one@elsewhere.example").exists()
    drain()
    assert mail.outbox == []


def test_roster_address_gets_its_user_and_swimmers_at_the_first_sign_in(
    cast: Cast, client: Client
) -> None:
    swimmer = on_a_roster(cast.harbour)
    ask(client, ROSTER)
    assert not User.objects.filter(email=ROSTER).exists()
    type_code(client, code_for(ROSTER))
    swimmer.refresh_from_db()
    assert signed_in(client) and swimmer.user.email == ROSTER
    assert swimmer.user.name == "Lucie Brandt"
    assert AuditEntry.objects.filter(action="swimmer-attached").count() == 1


def test_couple_with_one_address_shares_one_user(cast: Cast, client: Client) -> None:
    two = [on_a_roster(cast.harbour), on_a_roster(cast.quillmoor, "Ben Brandt", ROSTER.title())]
    ask(client, ROSTER)
    type_code(client, code_for(ROSTER))
    owners = {Swimmer.objects.get(pk=swimmer.pk).user for swimmer in two}
    assert len(owners) == 1 and owners.pop().name == ""


def test_signing_in_does_not_take_somebody_elses_swimmer(cast: Cast, client: Client) -> None:
    taken = on_a_roster(cast.harbour)
    Swimmer.objects.filter(pk=taken.pk).update(user=cast.wren)
    ask(client, ROSTER)
    type_code(client, code_for(ROSTER))
    assert not signed_in(client)
    assert Swimmer.objects.get(pk=taken.pk).user == cast.wren


def test_new_device_is_told_by_mail_and_the_known_one_is_not(cast: Cast) -> None:
    def sign_in_with(client: Client) -> None:
        ask(client, cast.tomas.email)
        type_code(client, code_for(cast.tomas.email))
        client.post("/sign-out/")

    known, other = Client(), Client(headers={"User-Agent": "Mozilla/5.0 (Android) Firefox/140"})
    sign_in_with(known)
    sign_in_with(known)
    assert not OutboxMail.objects.filter(subject="Signed in on a new device").exists()
    sign_in_with(other)
    told = OutboxMail.objects.get(subject="Signed in on a new device")
    assert "Firefox, Android" in told.body
    assert cast.tomas.devices.count() == 2


def test_what_sign_in_leaves_behind_does_not_stay(cast: Cast, client: Client) -> None:
    ask(client, cast.tomas.email)
    type_code(client, code_for(cast.tomas.email))
    assert forget_what_is_old() == 0
    long_ago = timezone.now() - dt.timedelta(days=400)
    SignInCode.objects.update(expires_at=long_ago)
    Session.objects.update(expire_date=long_ago)
    OutboxMail.objects.update(created_at=long_ago)
    KnownDevice.objects.update(last_seen_at=long_ago)
    Attempt.objects.create(key_hash="x", window_start=long_ago, count=1)
    forget_what_is_old()
    for model in (SignInCode, Session, OutboxMail, KnownDevice):
        assert not model.objects.exists(), model
    assert not Attempt.objects.filter(key_hash="x").exists()


@pytest.mark.django_db(transaction=True)
def test_two_posts_at_once_give_exactly_one_session() -> None:
    user = User.objects.create_user("tomas.birk@harbourlane.example", "Tomas Birk")
    first = Client()
    ask(first, user.email)
    code = code_for(user.email)
    cookies = first.cookies.output(header="", sep=";").strip()
    barrier, replies = threading.Barrier(2), []

    def post() -> None:
        client = Client(raise_request_exception=False)
        client.cookies.load(cookies)
        barrier.wait()
        replies.append(type_code(client, code).status_code)
        connection.close()

    threads = [threading.Thread(target=post) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    sessions = [session.get_decoded() for session in Session.objects.all()]
    assert sum("_auth_user_id" in data for data in sessions) == 1
    assert replies.count(303) == 1
