"""Pictures of a swim in a real browser: on its page and on their own, at a phone's width and a
screen's; renewed after a mark. Axe judges what a page owes to everybody."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Browser, expect

from feedback.models import Mark
from tests.browser import fits, opener, shot, violations
from tests.cast import Cast
from tests.feedback.marked_swims import mark_swim
from tests.feedback.spread_group import group
from tests.feedback.two_swims import last_time

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]
PHONE, SCREEN = {"width": 360, "height": 740}, {"width": 1280, "height": 900}
OUTSIDE = """() => [...document.querySelectorAll(".picture, .spent, .rows")].flatMap(card => {
  const frame = card.getBoundingClientRect();
  return [...card.querySelectorAll("svg text, svg circle, svg rect, svg line")].filter(one => {
    const box = one.getBoundingClientRect();
    return box.width && (box.left < frame.left || box.right > frame.right);
  }).map(one => one.textContent || one.tagName);
})"""
RENEW = (
    "document.querySelector('[data-room]').dispatchEvent("
    "new CustomEvent('room:marks', { detail: {} }))"
)


@pytest.fixture
def open_page(browser: Browser, live_server: Any, settings: Any) -> Iterator[Any]:
    settings.SECOND_FACTOR_REQUIRED = False
    with opener(browser, live_server.url, SCREEN) as opened:
        yield opened


@pytest.fixture
def measured(cast: Cast) -> Cast:
    group(cast, 6)
    before = last_time(cast)
    mark_swim(before, before.clips.first().recording, cast.coach, slower_s=0.4)  # type: ignore[union-attr]
    return cast


def test_a_page_of_their_own_fits_a_phone_and_a_screen(measured: Cast, open_page: Any) -> None:
    swim = measured.swims["tomas"]
    for person, name in ((measured.tomas, "own"), (measured.coach, "coach")):
        for size in (PHONE, SCREEN):
            page = open_page(reverse("feedback:swim-pictures", args=[swim.pk]), person, size)
            shot(page, f"pictures-{name}-{size['width']}")
            assert fits(page)
            assert violations(page) == []
            assert page.evaluate(OUTSIDE) == []
            for summary in page.locator(".swim-pictures details details summary").all():
                summary.click()
            assert fits(page)
            assert violations(page) == []


def test_the_swims_page_fetches_them_and_renews_them(measured: Cast, open_page: Any) -> None:
    swim = measured.swims["tomas"]
    for size in (PHONE, SCREEN):
        page = open_page(reverse("feedback:swim", args=[swim.pk]), measured.coach, size)
        part = page.locator("#pictures")
        part.scroll_into_view_if_needed()
        expect(part.get_by_role("heading", name="Beside the time before")).to_be_visible()
        shot(page, f"pictures-closed-{size['width']}")
        for summary in part.locator(".group > summary").all():
            summary.click()
        shot(page, f"pictures-room-{size['width']}")
        assert fits(page)
        assert page.evaluate(OUTSIDE) == []
        assert violations(page) == []
    figures = part.locator("details[data-picture='against'] summary")
    figures.focus()
    page.keyboard.press("Enter")
    row = part.locator("details[data-picture='against'] th", has_text="Block time")
    expect(row).to_be_visible()
    Mark.objects.filter(swim=swim, kind="feet-leave-block").delete()
    page.evaluate(RENEW)
    expect(row).to_have_count(0)
    details = part.locator("details[data-picture='against']")
    assert details.get_attribute("open") is not None
    assert part.locator(".group[open]").count() == 3
    expect(figures).to_be_focused()
