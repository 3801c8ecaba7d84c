"""What each answer tells the browser."""

from __future__ import annotations

import logging
import re

import pytest
from django.test import Client

from portal.logs import UtcLineFormatter
from tests.cast import Cast, sign_in
from tests.portal.test_sign_in import ask, code_for, type_code

PAGES = ["/sign-in/", "/sign-in/confirm/", "/notice/", "/account/", "/account/second-factor/",
         "/clubs/harbour-lane-masters/people/", "/no/such/page/"]  # fmt: skip


@pytest.mark.parametrize("path", PAGES)
def test_every_page_carries_the_policies(cast: Cast, client: Client, path: str) -> None:
    reply = sign_in(client, cast.admin).get(path, follow=True)
    policy = dict(part.strip().split(" ", 1) for part in
                  reply["Content-Security-Policy"].split(";"))  # fmt: skip
    assert policy["default-src"] == "'none'" and policy["frame-ancestors"] == "'none'"
    assert policy["script-src"] == policy["style-src"] == policy["form-action"] == "'self'"
    assert policy["base-uri"] == "'none'"
    assert "unsafe" not in reply["Content-Security-Policy"]
    assert reply["X-Content-Type-Options"] == "nosniff"
    assert reply["Referrer-Policy"] == "no-referrer"
    assert reply["Cross-Origin-Opener-Policy"] == "same-origin"
    assert reply["X-Frame-Options"] == "DENY"
    assert "camera=()" in reply["Permissions-Policy"]
    assert "publickey-credentials-get=(self)" in reply["Permissions-Policy"]


@pytest.mark.parametrize("path", PAGES)
def test_no_page_has_inline_script_or_style(cast: Cast, client: Client, path: str) -> None:
    page = sign_in(client, cast.admin).get(path, follow=True).content.decode()
    assert "<style" not in page and ' style="' not in page and " onclick=" not in page
    for tag in page.split("<script")[1:]:
        assert " src=" in tag.split(">")[0] or 'type="application/json"' in tag.split(">")[0]


def test_signed_in_pages_are_not_kept_by_caches(cast: Cast, client: Client) -> None:
    reply = sign_in(client, cast.tomas).get("/account/")
    assert "no-store" in reply["Cache-Control"] and "private" in reply["Cache-Control"]


def test_refusal_without_sign_in_is_401_with_a_challenge(client: Client, db: None) -> None:
    reply = client.get("/account/")
    assert reply.status_code == 401 and reply["WWW-Authenticate"]
    page = client.get("/account/?a=1&b=2", headers={"Accept": "text/html"})
    assert page["Location"] == "/sign-in/?next=%2Faccount%2F%3Fa%3D1%26b%3D2"


def lines_of(caplog: pytest.LogCaptureFixture) -> list[str]:
    return [UtcLineFormatter().format(record) for record in caplog.records]


def test_sign_in_is_logged_without_code_or_address_of_mail(
    cast: Cast, client: Client, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO, logger="portal")
    ask(client, cast.tomas.email)
    code = code_for(cast.tomas.email)
    type_code(client, "00000000")
    type_code(client, code)
    said = "\n".join(lines_of(caplog))
    assert f"signed in user={cast.tomas.pk} by=code" in said and "code refused" in said
    assert code not in said and "tomas.birk@" not in said
    assert client.session.session_key not in said


def test_forged_line_breaks_stay_in_one_line(
    cast: Cast, client: Client, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO, logger="portal")
    sign_in(client, cast.tomas).get(
        "/clubs/x%0d%0a2026-01-01T00:00:00Z%20INFO%20portal.sign_in%20signed%20in/people/"
    )
    ask(client, "a@b.example\r\nsigned in")
    lines = lines_of(caplog)
    assert any("denied" in line and "\\r\\n2026-01-01" in line for line in lines)
    assert not any("\n" in line or "\r" in line for line in lines)


def test_formatter_writes_utc_with_the_request_id() -> None:
    record = logging.LogRecord("portal.x", logging.INFO, "", 0, "a\nb %s", ("c\r",), None)
    record.created = 1_700_000_000.0
    assert UtcLineFormatter().format(record) == (
        "2023-11-14T22:13:20Z INFO portal.x [-] a\\nb c\\r"
    )


@pytest.mark.parametrize(
    ("origin", "site", "secure", "status"),
    [
        ("null", "same-origin", False, 303),  # our own form, as Chromium sends it
        ("null", "same-origin", True, 303),
        ("null", "cross-site", False, 403),
        ("null", "same-site", True, 403),
        ("null", None, False, 303),  # plain HTTP: only the token is left to check
        ("null", None, True, 403),
        ("https://elsewhere.example", "cross-site", True, 403),
        ("http://testserver", None, False, 303),
    ],
)
def test_forms_of_other_sites_are_refused_and_our_own_are_not(
    db: None, origin: str, site: str | None, secure: bool, status: int
) -> None:
    """Every case has the right token: this is about the origin (Fetch standard, 3.2)."""
    client = Client(enforce_csrf_checks=True)
    page = client.get("/sign-in/", secure=secure).content.decode()
    token = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', page)[1]
    headers = {"Origin": origin} | ({"Sec-Fetch-Site": site} if site else {})
    form = {"email": "no.one@elsewhere.example", "csrfmiddlewaretoken": token}
    assert client.post("/sign-in/", form, headers=headers, secure=secure).status_code == status
    if status == 303:
        del form["csrfmiddlewaretoken"]
        refused = client.post("/sign-in/", form, headers=headers, secure=secure)
        assert refused.status_code == 403
