"""The start log on a phone in a real browser, without a network in between; and how the pages
of clinic and plan fit a phone and a screen. Axe judges what a page owes to everybody."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Page, expect

from clinics.models import Consent, Duty, StartLogEntry, Swim
from portal.models import User
from tests.browser import fits, shot, signed_in, violations
from tests.cast import Cast, make_entry

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]
PHONE, SCREEN = {"width": 360, "height": 740}, {"width": 1280, "height": 900}


@pytest.fixture
def open_page(browser: Browser, live_server: Any, settings: Any) -> Iterator[Any]:
    settings.SECOND_FACTOR_REQUIRED = False
    contexts, said = [], []

    def opened(path: str, person: User, size: dict[str, int] = PHONE) -> Page:
        context = signed_in(browser, person, live_server.url, viewport=size, locale="en-GB")
        page = context.new_page()
        page.on("pageerror", lambda error: said.append(str(error)))
        page.on(
            "console",
            lambda m: said.append(m.text) if "Content Security Policy" in m.text else None,
        )
        page.goto(path)
        contexts.append(context)
        return page

    yield opened
    for context in contexts:
        context.close()
    assert said == []


@pytest.fixture
def log_path(cast: Cast) -> str:
    """Three swimmers still to come; the last has not agreed to be filmed."""
    for number, name in ((21, "Liv Marchetti"), (22, "Oskar Brandt"), (23, "Noor Castellan")):
        make_entry(cast.clinic, name, number, None, "")
    Consent.objects.filter(swimmer__name="Noor Castellan").delete()
    for n in range(1, 4):
        StartLogEntry.objects.create(
            clinic=cast.clinic,
            client_id=f"earlier-{n}",
            entry=cast.clinic.entries.get(number=n),
            instant=timezone.now(),
            outcome="no-show",
        )
    return f"/clinics/{cast.clinic.pk}/starts/"


def small_targets(page: Page) -> list[str]:
    """Buttons and links of the page's content that a wet thumb would miss (48 px on deck)."""
    return page.evaluate(
        """() => [...document.querySelectorAll("main button, main a, main summary")]
            .filter((e) => e.offsetParent && e.getBoundingClientRect().height < 43.5)
            .map((e) => e.textContent.trim())"""
    )


def test_taps_are_kept_without_a_network_and_sent_once(
    cast: Cast, open_page: Any, log_path: str
) -> None:
    page = open_page(log_path, cast.crew)
    expect(page.locator("h1")).to_have_text("Liv Marchetti")
    assert fits(page) and violations(page) == [] and small_targets(page) == []
    shot(page, "start-log-360")

    before = timezone.now()
    page.get_by_role("button", name="AWAY").click()
    expect(page.locator("h1")).to_have_text("Oskar Brandt")
    away = page.locator("[data-away]")
    expect(away).to_be_disabled()  # for eight seconds
    expect(away).to_contain_text("away,")
    expect(page.locator("[data-net]")).to_have_text("All starts are sent.")
    swim = Swim.objects.get(entry__number=21)
    assert abs((swim.start_at - before).total_seconds()) < 3

    page.context.set_offline(True)
    page.get_by_role("button", name="Not here").click()
    expect(page.locator("[data-net]")).to_contain_text("No network. 1 to send, kept on this phone")
    shot(page, "start-log-no-network-360")
    assert not StartLogEntry.objects.filter(entry__number=22).exists()

    page.context.set_offline(False)
    page.reload()  # as after a closed tab: what was tapped is still here, and goes now
    expect(page.locator("h1")).to_have_text("Noor Castellan")
    expect(page.locator("[data-not-agreed]")).to_be_visible()
    expect(page.locator("[data-net]")).to_be_hidden()
    assert StartLogEntry.objects.get(entry__number=22).outcome == "no-show"
    assert not Swim.objects.filter(entry__number=22).exists()


def test_undo_takes_back_a_tap_that_was_sent(cast: Cast, open_page: Any, log_path: str) -> None:
    page = open_page(log_path, cast.crew)
    page.get_by_role("button", name="AWAY").click()
    expect(page.locator("[data-net]")).to_have_text("All starts are sent.")
    page.get_by_role("button", name="Undo last").click()
    expect(page.locator("h1")).to_have_text("Liv Marchetti")
    expect(page.locator("[data-away]")).to_be_enabled()
    expect(page.locator("[data-net]")).to_be_hidden()
    line = StartLogEntry.objects.get(entry__number=21)
    assert line.undone_at is not None
    assert not Swim.objects.filter(entry__number=21).exists()


def test_who_has_not_agreed_is_away_without_being_filmed(
    cast: Cast, open_page: Any, log_path: str
) -> None:
    page = open_page(f"{log_path}?number=23", cast.crew)
    expect(page.locator("[data-not-agreed]")).to_contain_text("Has not agreed to be filmed.")
    assert violations(page) == []
    shot(page, "start-log-not-agreed-360")
    page.get_by_label("Goes with the next tap").or_(page.locator("summary", has_text="Note"))
    page.locator("summary", has_text="Note").click()
    page.get_by_label("Goes with the next tap").fill("waits at the wall")
    page.get_by_role("button", name="AWAY, not filmed").click()
    expect(page.locator("[data-net]")).to_have_text("All starts are sent.")
    line = StartLogEntry.objects.get(entry__number=23)
    assert (line.outcome, line.note) == ("not-filmed", "waits at the wall")
    assert not Swim.objects.filter(entry__number=23).exists()


def test_signed_out_phone_keeps_its_taps(cast: Cast, open_page: Any, log_path: str) -> None:
    page = open_page(log_path, cast.crew)
    page.context.clear_cookies(name="session")
    page.get_by_role("button", name="AWAY").click()
    expect(page.locator("[data-net]")).to_contain_text("You are signed out")
    key = f"start-log-{cast.clinic.pk}"
    assert page.evaluate("(key) => JSON.parse(localStorage.getItem(key)).length", key) == 1
    assert not Swim.objects.filter(entry__number=21).exists()


@pytest.mark.parametrize("size", [PHONE, SCREEN], ids=["360", "1280"])
def test_pages_of_clinic_and_plan(
    cast: Cast, open_page: Any, size: dict[str, int], request: pytest.FixtureRequest
) -> None:
    nameless = User.objects.create_user("somebody.without.a.name@harbourlanemasters.example")
    Duty.objects.create(clinic=cast.clinic, user=nameless, kind="camera")
    for name, path, person in (
        ("clinics", "/clinics/", cast.admin),
        ("clinic", f"/clinics/{cast.clinic.pk}/", cast.checker),
        ("plan", f"/clinics/{cast.clinic.pk}/plan/", cast.admin),
        ("clinic-new", "/clinics/new/", cast.admin),
        ("roster", f"/clinics/{cast.clinic.pk}/roster/", cast.admin),
        ("log-file", f"/clinics/{cast.clinic.pk}/starts/file/", cast.crew),
    ):
        page = open_page(path, person, size)
        assert fits(page), name
        assert violations(page) == [], name
        shot(page, f"{name}-{size['width']}")
