"""Sign-in and passkeys in real Chromium, with its own virtual authenticator (WebAuthn).

http://localhost is a secure context; no page may break the content security policy.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from portal.models import Membership, OutboxMail
from tests.browser import SHOTS
from tests.cast import Cast, build_cast

pytestmark = pytest.mark.journey


@pytest.fixture
def people(transactional_db: None) -> Cast:
    return build_cast()


class Visitor:
    """One browser of one person; remembers every violation of the policy."""

    def __init__(self, browser: Browser, url: str, **options: object) -> None:
        self.context: BrowserContext = browser.new_context(base_url=url, **options)
        self.page: Page = self.context.new_page()
        self.complaints: list[str] = []
        self.page.on("console", lambda m: m.type == "error" and self.complaints.append(m.text))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))

    def go(self, path: str) -> Page:
        self.page.goto(path)
        return self.page

    def ask(self, email: str) -> None:
        self.go("/sign-in/")
        self.page.get_by_label("Your e-mail address").fill(email)
        self.page.get_by_role("button", name="Send me a code").click()

    def shoot(self, name: str) -> None:
        for width, height in ((1280, 800), (360, 740)) if SHOTS else ():
            self.page.set_viewport_size({"width": width, "height": height})
            self.page.screenshot(path=Path(SHOTS or "") / f"{name}-{width}.png")

    def fits_a_phone(self) -> None:
        self.page.set_viewport_size({"width": 360, "height": 740})
        wide = self.page.evaluate("document.documentElement.scrollWidth")
        assert wide <= 360, f"{self.page.url} is {wide} px wide"

    def has_session(self) -> bool:
        self.page.goto("/account/")
        return "/account/" in self.page.url.split("?")[0]

    def add_authenticator(self) -> None:
        devtools = self.context.new_cdp_session(self.page)
        devtools.send("WebAuthn.enable")
        options = {
            "protocol": "ctap2",
            "transport": "internal",
            "hasResidentKey": True,
            "hasUserVerification": True,
            "isUserVerified": True,
            "automaticPresenceSimulation": True,
        }
        devtools.send("WebAuthn.addVirtualAuthenticator", {"options": options})


def link_for(email: str) -> str:
    body = OutboxMail.objects.filter(to=email).latest("created_at").body
    return re.search(r"http://localhost:8000(/sign-in/confirm/#code=\d+)", body)[1]


def test_link_signs_in_where_it_was_asked_for_and_only_shows_the_code_elsewhere(
    people: Cast, live_server, browser: Browser
) -> None:
    asker, elsewhere = (Visitor(browser, live_server.url) for _ in range(2))
    asker.go("/sign-in/")
    asker.shoot("sign-in")
    asker.ask(people.tomas.email)
    asker.shoot("code")
    link = link_for(people.tomas.email)
    code = link[-8:]

    page = elsewhere.go(link)
    expect(page.locator("[data-figures]")).to_have_text(f"{code[:4]} {code[4:]}")
    expect(page.get_by_text("Type it there")).to_be_visible()
    expect(page.get_by_role("button", name="Sign in here")).to_have_count(0)
    assert "code" not in page.url
    elsewhere.shoot("confirm-elsewhere")
    elsewhere.fits_a_phone()
    assert not elsewhere.has_session()

    page = asker.go(link)
    assert "code" not in page.url
    asker.shoot("confirm-here")
    page.get_by_role("button", name="Sign in here").click()
    assert asker.has_session()
    asker.shoot("account-swimmer")
    asker.fits_a_phone()
    assert asker.complaints == elsewhere.complaints == []


def test_pasting_the_code_with_its_blank_signs_in(
    people: Cast, live_server, browser: Browser
) -> None:
    visitor = Visitor(browser, live_server.url)
    visitor.ask(people.tomas.email)
    code = link_for(people.tomas.email)[-8:]
    field = visitor.page.get_by_label("The code from the mail")
    assert field.get_attribute("autocomplete") == "one-time-code"
    field.fill(f"{code[:4]} {code[4:]}")
    visitor.page.get_by_role("button", name="Sign in").click()
    assert visitor.has_session()


def test_sign_in_by_code_works_without_script(people: Cast, live_server, browser: Browser) -> None:
    visitor = Visitor(browser, live_server.url, java_script_enabled=False)
    visitor.ask(people.tomas.email)
    visitor.page.get_by_label("The code from the mail").fill(link_for(people.tomas.email)[-8:])
    visitor.page.get_by_role("button", name="Sign in").click()
    assert visitor.has_session()


def test_passkey_is_made_then_signs_in_alone_and_as_second_factor(
    people: Cast, live_server, browser: Browser
) -> None:
    visitor = Visitor(browser, live_server.url)
    visitor.add_authenticator()
    page = visitor.page
    visitor.ask(people.coach.email)
    page.get_by_label("The code from the mail").fill(link_for(people.coach.email)[-8:])
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/account/second-factor/*")
    visitor.shoot("factor-owed")
    page.get_by_role("link", name="Add a passkey").click()
    page.get_by_label("A name for it").fill("Blue phone")
    visitor.shoot("factor-passkey")
    page.get_by_role("button", name="Make the passkey").click()
    page.wait_for_url("**/recovery/")
    visitor.shoot("factor-recovery")
    visitor.fits_a_phone()
    visitor.go("/account/second-factor/")
    expect(page.get_by_role("strong")).to_be_visible()
    visitor.shoot("factors")

    visitor.go("/account/")
    visitor.shoot("account-coach")
    page.locator("main").get_by_role("button", name="Sign out").first.click()
    page.get_by_role("button", name="Sign in with a passkey").click()
    page.wait_for_url(lambda url: "/sign-in/" not in url)
    assert visitor.has_session()

    page.locator("main").get_by_role("button", name="Sign out").first.click()
    visitor.ask(people.coach.email)
    page.get_by_label("The code from the mail").fill(link_for(people.coach.email)[-8:])
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/second-factor/use/*")
    visitor.shoot("factor-use")
    page.get_by_role("button", name="Use your passkey").click()
    page.wait_for_url(lambda url: "/second-factor/" not in url)
    assert visitor.has_session()
    assert visitor.complaints == []


def test_refused_passkey_says_what_to_do(people: Cast, live_server, browser: Browser) -> None:
    visitor = Visitor(browser, live_server.url)
    visitor.add_authenticator()  # it holds no passkey of this site
    page = visitor.go("/sign-in/")
    page.get_by_role("button", name="Sign in with a passkey").click()
    expect(page.get_by_role("alert")).to_contain_text("ask for a code", timeout=70_000)
    assert not visitor.has_session()


def test_admin_pages_fit_a_phone_and_keep_the_policy(
    people: Cast, live_server, browser: Browser, settings
) -> None:
    settings.SECOND_FACTOR_REQUIRED = False
    Membership.objects.filter(user=people.crew).update(until_date="2026-10-31")
    visitor = Visitor(browser, live_server.url)
    visitor.ask(people.admin.email)
    page = visitor.page
    page.get_by_label("The code from the mail").fill(link_for(people.admin.email)[-8:])
    page.get_by_role("button", name="Sign in").click()
    for name, path in (
        ("people", "/clubs/harbour-lane-masters/people/"),
        ("factor-app", "/account/second-factor/app/"),
        ("account", "/account/"),
        ("notice", "/notice/"),
    ):
        visitor.go(path)
        visitor.shoot(name)
        visitor.fits_a_phone()
    page.get_by_role("button", name="Français").click()
    expect(page.locator("html")).to_have_attribute("lang", "fr")
    assert visitor.complaints == []
