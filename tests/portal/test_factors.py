"""Second factor, fresh sign-in, sessions."""

from __future__ import annotations

import base64
import hashlib
import hmac
import re
import struct
import time

import pytest
from allauth.mfa.models import Authenticator
from allauth.usersessions.models import UserSession
from django.core.management import call_command
from django.http import HttpRequest, HttpResponse
from django.test import Client, RequestFactory

from portal import freshness
from portal.actions import factors
from portal.models import AuditEntry, OutboxMail, User
from tests.cast import Cast, sign_in
from tests.portal.test_sign_in import ask, code_for, signed_in, type_code

PAGE = {"Accept": "text/html"}


def rfc6238(secret: str, at_s: float) -> str:
    """Written from RFC 6238 and RFC 4226, 5.3, apart from the code under test."""
    key = base64.b32decode(secret)
    digest = hmac.new(key, struct.pack(">Q", int(at_s) // 30), hashlib.sha1).digest()
    offset = digest[-1] & 15
    number = struct.unpack(">I", digest[offset : offset + 4])[0] & 0x7FFFFFFF
    return f"{number % 1_000_000:06d}"


def by_mail(user: User, client: Client | None = None) -> Client:
    client = client or Client()
    ask(client, user.email)
    type_code(client, code_for(user.email))
    assert signed_in(client)
    return client


def with_app(user: User) -> tuple[Client, str]:
    """Signed in by mail, then the app set up as the page says."""
    client = by_mail(user)
    page = client.get("/account/second-factor/app/").content.decode()
    secret = re.search(r'<code class="secret">([A-Z2-7 ]+)</code>', page)[1].replace(" ", "")
    reply = client.post("/account/second-factor/app/", {"code": rfc6238(secret, time.time())})
    assert reply["Location"] == "/account/second-factor/recovery/"
    return client, secret


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch):
    """Moves the wall clock of the app's codes on, in seconds."""
    real, ahead = time.time, [0.0]
    monkeypatch.setattr(factors.time, "time", lambda: real() + ahead[0])

    def move_on(seconds: float) -> None:
        ahead[0] += seconds

    return move_on


@pytest.mark.parametrize("who", ["coach", "admin", "checker"])
def test_by_mail_alone_they_reach_only_the_page_that_sets_it_up(cast: Cast, who: str) -> None:
    client = by_mail(getattr(cast, who))
    for path in ("/account/", "/clubs/", "/clinics/", "/waiting/", "/no/such/page/"):
        reply = client.get(path, headers=PAGE)
        assert reply.status_code == 302, path
        assert reply["Location"].startswith("/account/second-factor/?next="), path
        assert client.get(path).status_code == 403
        assert client.post(path).status_code == 403
    page = client.get("/account/second-factor/", headers=PAGE).content
    assert b"second way to show that it is you" in page
    assert b'class="places"' not in page


@pytest.mark.parametrize("who", ["tomas", "crew"])
def test_swimmers_and_crew_need_none(cast: Cast, who: str) -> None:
    assert by_mail(getattr(cast, who)).get("/account/", headers=PAGE).status_code == 200


def test_new_role_asks_for_it_in_the_running_session(cast: Cast) -> None:
    client = by_mail(cast.crew)
    cast.crew.memberships.update(role="coach")
    reply = client.get("/account/", headers=PAGE)
    assert reply["Location"].startswith("/account/second-factor/")


def test_app_set_up_opens_the_site_and_is_asked_for_next_time(cast: Cast, clock) -> None:
    client, secret = with_app(cast.coach)
    assert client.get("/account/").status_code == 200
    again = by_mail(cast.coach)
    reply = again.get("/account/", headers=PAGE)
    assert reply["Location"] == "/account/second-factor/use/?next=%2Faccount%2F"
    assert again.get("/account/second-factor/app/").status_code == 403
    assert again.get("/account/second-factor/").status_code == 403
    clock(30)
    key = again.session.session_key
    used = again.post(
        "/account/second-factor/use/",
        {"code": rfc6238(secret, time.time()), "next": "/account/"},
    )
    assert used["Location"] == "/account/"
    assert again.session.session_key != key
    assert again.get("/account/").status_code == 200


def test_code_of_the_app_works_once_also_the_one_that_set_it_up(cast: Cast, clock) -> None:
    _client, secret = with_app(cast.coach)
    now = time.time()
    assert not factors.use_code(user=cast.coach, code=rfc6238(secret, now))
    clock(30)
    code = rfc6238(secret, time.time())
    assert factors.use_code(user=cast.coach, code=code)
    assert not factors.use_code(user=cast.coach, code=code)
    clock(90)
    assert not factors.use_code(user=cast.coach, code=code)


def test_recovery_code_works_once(cast: Cast) -> None:
    client, _secret = with_app(cast.coach)
    page = client.get("/account/second-factor/recovery/").content.decode()
    codes = [code.replace(" ", "") for code in re.findall(r"<li>(\d{4} \d{4})</li>", page)]
    assert len(codes) == 10
    for browser, works in ((by_mail(cast.coach), True), (by_mail(cast.coach), False)):
        reply = browser.post("/account/second-factor/use/", {"code": codes[3]})
        assert reply.status_code == (303 if works else 422)
        assert (browser.get("/account/").status_code == 200) is works
    assert AuditEntry.objects.filter(action="recovery-code-used").count() == 1


def test_secrets_are_encrypted_at_rest(cast: Cast) -> None:
    client, secret = with_app(cast.coach)
    kept = [str(row.data) for row in Authenticator.objects.all()]
    seeds = client.get("/account/second-factor/recovery/").content.decode()
    assert len(kept) == 2 and all("gAAAA" in row for row in kept)  # Fernet's first bytes
    assert not any(secret in row for row in kept)
    assert not any(code in row for row in kept for code in re.findall(r"\d{4} \d{4}", seeds))


def test_sixth_wrong_code_waits(cast: Cast) -> None:
    with_app(cast.coach)
    client = by_mail(cast.coach)
    replies = [
        client.post("/account/second-factor/use/", {"code": "000000"}).status_code for _ in range(6)
    ]
    assert replies == [422] * 5 + [429]


def test_factor_is_added_and_removed_only_when_fresh(cast: Cast) -> None:
    client, _secret = with_app(cast.coach)
    factor = Authenticator.objects.get(type="totp")
    session = client.session
    session["fresh_at"] -= 15 * 60
    session.save()
    for path in ("app/", "passkey/", "recovery/", f"{factor.pk}/remove/"):
        for reply in (
            client.get(f"/account/second-factor/{path}"),
            client.post(f"/account/second-factor/{path}"),
        ):
            assert reply.status_code == 303
            assert reply["Location"].startswith("/account/fresh/?next="), path
    assert Authenticator.objects.filter(pk=factor.pk).exists()


def test_removing_the_last_factor_asks_for_a_new_one(cast: Cast) -> None:
    client, _secret = with_app(cast.coach)
    factor = Authenticator.objects.get(type="totp")
    client.post(f"/account/second-factor/{factor.pk}/remove/")
    assert not Authenticator.objects.exists()
    reply = client.get("/account/", headers=PAGE)
    assert reply["Location"].startswith("/account/second-factor/?next=")
    told = OutboxMail.objects.filter(to=cast.coach.email, subject__icontains="factor")
    assert {mail.subject for mail in told} == {
        "A second factor was added",
        "A second factor was removed",
    }


def test_somebody_elses_factor_is_absent(cast: Cast) -> None:
    with_app(cast.coach)
    factor = Authenticator.objects.get(type="totp")
    client = sign_in(Client(), cast.tomas)
    assert client.post(f"/account/second-factor/{factor.pk}/remove/").status_code == 404
    assert Authenticator.objects.filter(pk=factor.pk).exists()


def test_reset_factor_removes_all_and_ends_sessions(cast: Cast) -> None:
    client, _secret = with_app(cast.coach)
    call_command("reset_factor", cast.coach.email, "--json")
    assert client.get("/account/").status_code == 401
    assert not Authenticator.objects.exists()
    assert AuditEntry.objects.get(action="factors-reset").subject_id == str(cast.coach.pk)


def test_demo_without_second_factor_says_so_on_every_page(cast: Cast, settings) -> None:
    settings.SECOND_FACTOR_REQUIRED = False
    client = by_mail(cast.coach)
    assert b"The second factor is off: for trying out only." in client.get("/account/").content
    settings.SECOND_FACTOR_REQUIRED = True
    assert client.get("/account/").status_code == 403


# --- fresh sign-in --------------------------------------------------------------------------------


@freshness.fresh_sign_in_required
def matters(request: HttpRequest) -> HttpResponse:
    return HttpResponse("done")


def make_request(client: Client, method: str, data: dict[str, str], *, age_s: int) -> HttpRequest:
    request = getattr(RequestFactory(), method)("/notice/?a=1", data)
    request.session = client.session
    request.session["fresh_at"] = int(time.time()) - age_s
    return request


@pytest.mark.parametrize(("age_s", "status"), [(0, 200), (890, 200), (901, 303)])
def test_fresh_is_fifteen_minutes(client: Client, db: None, age_s: int, status: int) -> None:
    assert matters(make_request(client, "post", {}, age_s=age_s)).status_code == status


def test_what_was_sent_is_offered_again_after_proving(cast: Cast) -> None:
    client = by_mail(cast.tomas)
    session = client.session
    session["fresh_at"] = 0
    session.save()
    request = make_request(client, "post", {"why": "<b>because</b>"}, age_s=10_000)
    matters(request)
    request.session.save()
    reply = client.get("/account/fresh/go-on/")
    assert reply["Location"] == "/account/fresh/?next=%2Faccount%2Ffresh%2Fgo-on%2F"
    client.post("/account/fresh/", {"next": "/account/fresh/go-on/"})
    reply = client.post("/account/fresh/code/", {"code": code_for(cast.tomas.email)}, follow=True)
    page = reply.content.decode()
    assert 'action="/notice/?a=1"' in page
    assert 'name="why" value="&lt;b&gt;because&lt;/b&gt;"' in page


def test_fresh_code_does_not_sign_anybody_in(cast: Cast) -> None:
    client = by_mail(cast.tomas)
    client.post("/account/fresh/", {"next": "/account/"})
    other = Client()
    ask(other, cast.tomas.email)
    type_code(other, OutboxMail.objects.filter(subject="Your sign-in code").order_by(
        "-created_at"
    )[1].body.split("#code=")[1][:8])  # fmt: skip
    assert not signed_in(other)


# --- sessions --------------------------------------------------------------------------------


def test_people_see_and_end_their_own_sessions(cast: Cast) -> None:
    here, there = by_mail(cast.tomas), by_mail(cast.tomas)
    assert here.get("/account/").content.count(b"/end/") == 2
    other = UserSession.objects.get(session_key=there.session.session_key)
    assert here.post(f"/account/sessions/{other.pk}/end/").status_code == 303
    assert there.get("/account/").status_code == 401
    assert here.get("/account/").status_code == 200


def test_nobody_ends_somebody_elses_session(cast: Cast) -> None:
    theirs = by_mail(cast.wren)
    row = UserSession.objects.get(session_key=theirs.session.session_key)
    assert by_mail(cast.tomas).post(f"/account/sessions/{row.pk}/end/").status_code == 404
    assert theirs.get("/account/").status_code == 200


def test_ending_all_others_keeps_this_one(cast: Cast) -> None:
    browsers = [by_mail(cast.tomas) for _ in range(3)]
    browsers[0].post("/account/sessions/end-others/")
    assert [b.get("/account/").status_code for b in browsers] == [200, 401, 401]


@pytest.mark.parametrize(
    ("own_device", "mark", "days", "status"),
    [
        (True, "seen_at", 29.9, 200),
        (True, "seen_at", 30.1, 401),
        (True, "signed_in_at", 89.9, 200),
        (True, "signed_in_at", 90.1, 401),
        (False, "signed_in_at", 0.4, 200),
        (False, "signed_in_at", 0.6, 401),
    ],
)
def test_sessions_end_by_idle_and_absolute_limits(
    cast: Cast, own_device: bool, mark: str, days: float, status: int
) -> None:
    client = Client()
    ask(client, cast.tomas.email)
    form = {"code": code_for(cast.tomas.email)} | ({"own_device": "on"} if own_device else {})
    client.post("/sign-in/code/", form)
    session = client.session
    session[mark] = int(time.time() - days * 86_400)
    session.save()
    assert client.get("/account/").status_code == status


def test_shared_device_forgets_when_the_browser_closes(cast: Cast) -> None:
    client = Client()
    ask(client, cast.tomas.email)
    reply = client.post("/sign-in/code/", {"code": code_for(cast.tomas.email)})
    assert reply.cookies["session"]["max-age"] == ""
    assert "device" not in reply.cookies
