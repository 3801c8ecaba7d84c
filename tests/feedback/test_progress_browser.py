"""Progress over clinics in a real browser: it fits a phone, and what is drawn lies in its frame.
Axe judges what a page owes to everybody."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Browser

from tests.browser import fits, opener, shot, violations
from tests.cast import Cast
from tests.feedback.marked_swims import mark_swim
from tests.feedback.said import another_go
from tests.feedback.two_swims import last_time

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]
PHONE, SCREEN = {"width": 360, "height": 740}, {"width": 1280, "height": 900}
OUTSIDE = """() => [...document.querySelectorAll(".picture, .spent")].flatMap(card => {
  const frame = card.getBoundingClientRect();
  return [...card.querySelectorAll("svg text, svg circle, svg rect")].filter(one => {
    const box = one.getBoundingClientRect();
    return box.width && (box.left < frame.left || box.right > frame.right);
  }).map(one => one.textContent || one.tagName);
})"""


@pytest.fixture
def open_page(browser: Browser, live_server: Any, settings: Any) -> Iterator[Any]:
    settings.SECOND_FACTOR_REQUIRED = False
    with opener(browser, live_server.url, SCREEN) as opened:
        yield opened


@pytest.fixture
def measured(cast: Cast) -> Cast:
    before, now = last_time(cast), cast.swims["tomas"]
    type(now).objects.filter(pk=now.pk).update(start_kind="heard", start_u_ms=4.0)
    mark_swim(before, before.clips.first().recording, cast.coach, slower_s=0.4)  # type: ignore[union-attr]
    mark_swim(now, cast.recordings["start-side"], cast.coach)
    for number in range(2, 8):
        go = another_go(now, number, start_kind="heard", start_u_ms=4.0)
        mark_swim(go, cast.recordings["start-side"], cast.coach, slower_s=0.05 * (number % 3))
    return cast


def test_progress_fits_a_phone_and_a_screen(measured: Cast, open_page: Any) -> None:
    swim = measured.swims["tomas"]
    for person, path, name in (
        (measured.tomas, reverse("feedback:my-progress"), "progress-own"),
        (measured.coach, reverse("feedback:progress", args=[swim.pk]), "progress-coach"),
    ):
        for size in (PHONE, SCREEN):
            page = open_page(path, person, size)
            shot(page, f"{name}-{size['width']}")
            assert fits(page)
            assert violations(page) == []
            assert page.evaluate(OUTSIDE) == []
            page.locator(".picture summary").first.click()
            assert fits(page)


def test_measures_to_take_along_fit_a_phone(measured: Cast, open_page: Any) -> None:
    page = open_page(reverse("feedback:measures-out"), measured.coach, PHONE)
    shot(page, "measures-out-360")
    assert fits(page)
    assert violations(page) == []
    with page.expect_download() as taken:
        page.get_by_role("button", name="Data package").first.click()
    assert taken.value.suggested_filename == f"measures-{measured.clinic.slug}.zip"
