"""The pool hour and its day in a real browser: nothing scrolls sideways on a phone, axe-core finds
nothing, and the day board renews itself, or says that it does not."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Browser, Page, expect

from clinics.models import Clinic, DayWish, PoolHour, StartLogEntry, Swim
from tests.browser import fits, shot, signed_in, violations
from tests.cast import Cast, make_station
from tests.clinics.hour_tools import SIZES_OF_40, crowded, even_paces

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]
SIZES = {"phone": {"width": 360, "height": 740}, "laptop": {"width": 1280, "height": 800}}


@pytest.fixture
def today(cast: Cast, settings: object) -> Clinic:
    """Forty swimmers, the pool theirs since ten minutes ago; two have gone, one comes late."""
    settings.SECOND_FACTOR_REQUIRED = False  # type: ignore[attr-defined]
    now = timezone.now()
    clinic = crowded(cast.harbour, SIZES_OF_40, even_paces(40, 80.0, 120.0))
    clinic.date, clinic.time_zone, clinic.distance_m = now.date(), "UTC", 60
    clinic.save()
    begins = now - dt.timedelta(minutes=10)
    if begins.date() != now.date():
        pytest.skip("around midnight the hour would begin on the day before")
    PoolHour.objects.create(clinic=clinic, begins=begins.time().replace(microsecond=0))
    make_station(clinic, 1, "start", "Start side", "start-side")
    make_station(clinic, 2, "deep", "Underwater 12.5 m", "underwater")
    for number, ago_s in ((1, 80), (2, 20)):
        log(clinic, number, now - dt.timedelta(seconds=ago_s))
    DayWish.objects.create(
        entry=clinic.entries.get(number=5),
        kind="late",
        from_at=now + dt.timedelta(minutes=9),
        client_id="late-5",
    )
    return clinic


def log(clinic: Clinic, number: int, at: dt.datetime) -> None:
    entry = clinic.entries.get(number=number)
    line = StartLogEntry.objects.create(
        clinic=clinic, client_id=f"p-{number}", entry=entry, instant=at, outcome="away"
    )
    Swim.objects.create(entry=entry, log_entry=line, start_at=at, start_u_ms=150)


@pytest.mark.parametrize("size", SIZES)
def test_pages_of_the_hour_fit_and_are_accessible(
    browser: Browser, live_server: object, cast: Cast, today: Clinic, size: str
) -> None:
    url = live_server.url  # type: ignore[attr-defined]
    with signed_in(browser, cast.admin, url, viewport=SIZES[size]) as context:
        page = context.new_page()
        for name in ("clinic-plan", "pool-hour", "running-order", "day-board"):
            page.goto(reverse(f"clinics:{name}", args=[today.pk]))
            shot(page, f"{name}-{size}")
            assert fits(page), name
            assert violations(page) == [], name


def test_day_board_renews_itself_and_says_when_no_news_comes(
    browser: Browser, live_server: object, cast: Cast, today: Clinic
) -> None:
    url = live_server.url  # type: ignore[attr-defined]
    with signed_in(browser, cast.crew, url, viewport=SIZES["phone"]) as context:
        page = context.new_page()
        page.goto(reverse("clinics:day-board", args=[today.pk]))
        in_lane = page.get_by_role("region", name="In the lane")
        expect(in_lane).to_contain_text("2 Swimmer 2")
        log(today, 3, timezone.now())
        expect(in_lane).to_contain_text("3 Swimmer 3", timeout=10_000)
        say_rolling(page)
        context.set_offline(True)
        stale = page.locator("[data-day-stale]")
        expect(stale).to_be_visible(timeout=40_000)
        context.set_offline(False)
        expect(stale).to_be_hidden(timeout=20_000)


def say_rolling(page: Page) -> None:
    page.get_by_role("button", name=re.compile("Rolling ?: Start side")).click()
    expect(page.get_by_role("region", name="Stations")).to_contain_text(
        "1 of 2 stations are rolling."
    )
    assert page.evaluate("document.activeElement.id").startswith("rolling-")
