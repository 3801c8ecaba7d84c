"""The quick pass in real Chromium: six marks with one key, or with a thumb; the measures follow."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Browser, Page, expect

from clinics.models import ClockFit, Swim
from feedback.models import Mark
from tests.browser import fits, shot, signed_in, violations
from tests.cast import Cast, build_cast
from tests.feedback.painted_swim import Film, put_film
from tests.journeys.room import PHONE

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def filmed(transactional_db: None, film: Film, settings: Any) -> Cast:
    settings.SECOND_FACTOR_REQUIRED = False
    cast = build_cast()
    put_film(cast, film)
    ClockFit.objects.update(u_ms=3.0)
    Swim.objects.update(start_kind="heard", start_u_ms=2.0)
    return cast


@pytest.fixture
def page(browser: Browser, live_server: Any, filmed: Cast, size: dict[str, int]) -> Iterator[Page]:
    touch = {"has_touch": True} if size is PHONE else {}
    context = signed_in(browser, filmed.coach, live_server.url, viewport=size, **touch)
    page = context.new_page()
    said: list[str] = []
    page.on("console", lambda m: said.append(m.text) if m.type in {"error", "warning"} else None)
    page.on("pageerror", lambda error: said.append(str(error)))
    page.goto(live_server.url + reverse("feedback:swim", args=[filmed.swims["tomas"].pk]))
    page.wait_for_selector("[data-room][data-ready]")
    yield page
    context.close()
    assert said == []


def stands_still(page: Page) -> None:
    """The picture of the next step is there."""
    before = None
    for _ in range(40):
        page.wait_for_timeout(150)
        now = page.locator("[data-room]").get_attribute("data-at")
        if now == before and page.locator("[data-room]").get_attribute("data-frame"):
            return
        before = now
    raise AssertionError("the picture does not come to rest")


def test_a_quick_pass_marks_each_event_goes_on_and_fills_the_measures(
    page: Page, size: dict[str, int]
) -> None:
    phone = size is PHONE
    if phone:
        page.locator("[data-mark-box] > summary").tap()
    begin = page.get_by_role("button", name="Quick pass")
    begin.tap() if phone else begin.click()
    what, where = page.locator("[data-pass-what]"), page.locator("[data-pass-where]")
    steps = Mark.Kind
    expected = ["start signal", "first entry", "head breaks surface, length 1"]
    for n, label in enumerate(expected):
        expect(what).to_have_text(label)
        expect(where).to_contain_text(f"{n + 1} of ")
        stands_still(page)
        if phone:
            page.get_by_role("button", name="Mark it").tap()
        else:
            page.keyboard.press("Enter")
        expect(page.locator("[data-mark-list] li")).to_have_count(n + 1)
    assert sorted(mark.kind for mark in Mark.objects.all()) == sorted(
        [steps.START_SIGNAL, steps.FIRST_ENTRY, steps.BREAKOUT]
    )
    listed = page.locator("[data-measures]")
    expect(listed.get_by_text("Breakout", exact=True)).to_be_visible()
    listed.locator("details").first.locator("summary").click()
    shot(page, f"measures-pass-{size['width']}")
    assert fits(page) and violations(page) == []


def test_a_step_is_passed_over_gone_back_to_and_the_pass_is_ended(
    page: Page, size: dict[str, int]
) -> None:
    if size is PHONE:
        page.locator("[data-mark-box] > summary").tap()
    page.get_by_role("button", name="Quick pass").click()
    what = page.locator("[data-pass-what]")
    expect(what).to_have_text("start signal")
    stands_still(page)
    page.keyboard.press("o")
    expect(what).to_have_text("first entry")
    page.keyboard.press("Backspace")
    expect(what).to_have_text("start signal")
    page.get_by_role("button", name="Next", exact=True).click()
    expect(what).to_have_text("first entry")
    stands_still(page)
    page.keyboard.press("2")  # figures mark as ever
    expect(what).to_have_text("head breaks surface, length 1")
    assert [mark.kind for mark in Mark.objects.all()] == ["first-entry"]
    page.keyboard.press("Escape")
    expect(page.locator("[data-pass-panel]")).to_be_hidden()
    expect(page.locator("[data-mark-keys]")).to_have_attribute("aria-pressed", "false")
