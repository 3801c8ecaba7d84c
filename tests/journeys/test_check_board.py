"""A checker's ten minutes over the board in real Chromium, on a laptop by keys and on a phone by
touch: the logger took two swimmers for each other; the eye finds it, one act mends it for all
stations, it is undone and done again; both are confirmed by their cards and passed on, and the
coach sees each under the right name.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Browser, Locator, Page, expect

from clinics.models import BoardAct, Swim
from tests.browser import fits, shot, signed_in, violations
from tests.cast import Cast
from tests.clinics.board_site import make_board

pytestmark = [
    pytest.mark.journey,
    pytest.mark.timeout(300),
    pytest.mark.django_db(transaction=True),
]

LAPTOP: dict[str, Any] = {"viewport": {"width": 1280, "height": 860}}
PHONE: dict[str, Any] = {"viewport": {"width": 360, "height": 740}, "has_touch": True}
TOO_SMALL = """() => [...document.querySelectorAll('main :is(a.button, button, summary, .check)')]
    .filter(e => e.offsetParent && e.getBoundingClientRect().height < 44)
    .map(e => e.textContent.trim())"""
SLOW_MS = 30_000


@pytest.fixture
def filmed(cast: Cast, tmp_path: Path) -> Cast:
    make_board(cast, tmp_path)
    return cast


def open_board(browser: Browser, server: Any, cast: Cast, **size: Any) -> Page:
    context = signed_in(
        browser, cast.checker, server.url, locale="en-GB", reduced_motion="reduce", **size
    )
    context.set_default_timeout(SLOW_MS)
    page = context.new_page()
    page.complaints = []  # type: ignore[attr-defined]
    page.on("console", lambda m: page.complaints.append(m.text))  # type: ignore[attr-defined]
    page.on("pageerror", lambda e: page.complaints.append(str(e)))  # type: ignore[attr-defined]
    page.goto(reverse("clinics:check", args=[cast.clinic.pk]))
    page.wait_for_load_state("networkidle")
    return page


def row(page: Page, swim: Swim) -> Locator:
    return page.locator(f"#swim-{swim.pk}")


def name_of(swim: Swim) -> str:
    return Swim.objects.get(pk=swim.pk).entry.swimmer.name


def settled(page: Page, swim: Swim, words: str) -> None:
    expect(row(page, swim)).to_contain_text(words, timeout=SLOW_MS)


def named(page: Page, swim: Swim, name: str) -> None:
    """The row's own name: its menu names its neighbours, too."""
    expect(row(page, swim).locator(".row-name")).to_have_text(name, timeout=SLOW_MS)


def both_seen_right(cast: Cast, browser: Browser, server: Any, shots: str) -> None:
    """The coach opens each swim under the name of the body that is in its pictures."""
    first, second = cast.swims["tomas"], cast.swims["wren"]
    assert (name_of(first), name_of(second)) == ("Wren Okada", "Tomas Birk")
    coach = signed_in(browser, cast.coach, server.url, locale="en-GB", **LAPTOP).new_page()
    for swim, name in ((first, "Wren Okada"), (second, "Tomas Birk")):
        coach.goto(reverse("feedback:swim", args=[swim.pk]))
        expect(coach.get_by_role("heading", level=1)).to_contain_text(name)
        poster = swim.clips.get(station=cast.start_side).files.get(kind="poster")
        assert str(poster.pk) in coach.content()
    shot(coach, f"{shots}-coach")
    coach.context.close()


def test_two_swapped_swimmers_are_mended_on_a_laptop_by_keys(
    browser: Browser, live_server: Any, filmed: Cast
) -> None:
    first, second = filmed.swims["tomas"], filmed.swims["wren"]
    page = open_board(browser, live_server, filmed, **LAPTOP)
    assert fits(page) and violations(page) == [] and page.evaluate(TOO_SMALL) == []
    shot(page, "board-laptop")

    # by eye: before the start somebody in Tomas's row holds up a 2
    look = page.locator("dialog[data-look]")
    row(page, first).locator("[data-still]").first.click()
    expect(look.get_by_role("heading")).to_have_text("Tomas Birk, 1")
    until(page, lambda: stands_at(page) > 1)  # at the instant of passing
    look.get_by_role("button", name="Still 1 of 10").click()
    until(page, lambda: abs(stands_at(page) - 0.2) < 0.05)
    shot(page, "board-look")
    assert violations(page) == []
    page.keyboard.press("Shift+ArrowRight")
    until(page, lambda: abs(stands_at(page) - 6.5 / 25) < 0.001)  # the middle of frame 6
    page.keyboard.press("ArrowUp")
    expect(look.get_by_role("heading")).not_to_have_text("Tomas Birk, 1")
    page.keyboard.press("Escape")

    # choose both by keys; the swap shows them side by side first
    for swim in (first, second):
        row(page, swim).locator("[data-still]").first.focus()
        page.keyboard.press("x")
    expect(page.locator("[data-chosen-count]")).to_have_text("2 rows chosen")
    shot(page, "board-chosen")
    page.get_by_role("button", name="Swap these two").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Swap Tomas Birk and Wren Okada?")
    assert fits(page) and violations(page) == []
    shot(page, "board-swap")
    page.get_by_role("button", name="Swap these two").click()
    named(page, first, "Wren Okada")
    page.wait_for_load_state("networkidle")

    # undone by one key, and swapped again from the row's menu
    page.keyboard.press("u")
    named(page, first, "Tomas Birk")
    expect(page.locator("[data-board-told]")).to_have_text(
        "Undone: Tomas Birk and Wren Okada swapped."
    )
    row(page, first).get_by_text("More").click()
    row(page, first).get_by_role("link", name=re.compile("Swap with Wren Okada")).click()
    page.get_by_role("button", name="Swap these two").click()
    named(page, first, "Wren Okada")
    page.wait_for_load_state("networkidle")
    assert BoardAct.objects.filter(kind="swap", undone_at__isnull=True).count() == 1

    # confirm by card and "nobody else" by keys: rows stay where they are
    tops = page.evaluate("[...document.querySelectorAll('tr[data-row]')].map(r => r.id)")
    for swim in (first, second):
        row(page, swim).locator("[data-still]").first.focus()
        page.keyboard.press("c")
        settled(page, swim, "seen, confirmed")
        page.keyboard.press("n")
        settled(page, swim, "nobody else can be recognised")
    assert page.evaluate("[...document.querySelectorAll('tr[data-row]')].map(r => r.id)") == tops
    shot(page, "board-confirmed")
    row(page, second).locator("[data-still]").first.focus()
    page.keyboard.press("p")
    settled(page, second, "passed to the coaches")
    expect(page.get_by_role("button", name="Pass 1 swim to the coaches")).to_be_visible()
    row(page, first).get_by_role("button", name="Pass on").click()
    settled(page, first, "passed to the coaches")
    page.get_by_role("link", name="Put in order anew").click()
    expect(page.locator("tbody[data-place='3']")).to_contain_text("Passed to the coaches")
    shot(page, "board-passed")
    page.wait_for_load_state("networkidle")  # the page is a new one: its scripts are there
    page.keyboard.press("?")
    expect(page.get_by_role("heading", name="Keys of the board")).to_be_visible()
    shot(page, "board-keys")
    assert page.complaints == []  # type: ignore[attr-defined]
    page.context.close()
    both_seen_right(filmed, browser, live_server, "board-laptop")


def test_the_same_on_a_phone_by_touch(browser: Browser, live_server: Any, filmed: Cast) -> None:
    first, second = filmed.swims["tomas"], filmed.swims["wren"]
    page = open_board(browser, live_server, filmed, **PHONE)
    assert fits(page) and violations(page) == [] and page.evaluate(TOO_SMALL) == []
    shot(page, "board-phone")
    row(page, first).locator("[data-still]").first.tap()
    expect(page.locator("dialog[data-look]")).to_be_visible()
    until(page, lambda: stands_at(page) > 1)
    page.get_by_role("button", name="Still 1 of 10").tap()
    assert fits(page) and violations(page) == []
    assert page.evaluate("document.querySelector('dialog[data-look]').scrollWidth") <= 360
    shot(page, "board-phone-look")
    page.get_by_role("button", name="Close").tap()

    for swim in (first, second):
        row(page, swim).locator("[data-choose]").tap()
    page.get_by_role("button", name="Swap these two").tap()
    expect(page.get_by_role("heading", level=1)).to_have_text("Swap Tomas Birk and Wren Okada?")
    assert fits(page) and violations(page) == []
    shot(page, "board-phone-swap")
    page.get_by_role("button", name="Swap these two").tap()
    named(page, first, "Wren Okada")
    page.wait_for_load_state("networkidle")
    page.get_by_role("button", name="Undo").tap()
    named(page, first, "Tomas Birk")
    row(page, first).get_by_text("More").tap()
    row(page, first).get_by_role("link", name=re.compile("Swap with Wren Okada")).tap()
    page.get_by_role("button", name="Swap these two").tap()
    named(page, first, "Wren Okada")
    page.wait_for_load_state("networkidle")

    for swim in (first, second):
        row(page, swim).locator("[data-choose]").tap()
    page.get_by_role("button", name="Confirm these by card").tap()
    settled(page, second, "number 1 seen, confirmed")
    page.get_by_role("button", name="Nobody else in these").tap()
    settled(page, first, "nobody else can be recognised")
    assert row(page, first).locator("[data-choose]").is_checked()
    shot(page, "board-phone-chosen")
    page.get_by_role("button", name="Pass these on").tap()
    settled(page, first, "passed to the coaches")
    settled(page, second, "passed to the coaches")
    assert page.complaints == []  # type: ignore[attr-defined]
    page.context.close()
    both_seen_right(filmed, browser, live_server, "board-phone")


def stands_at(page: Page) -> float:
    return page.evaluate("document.querySelector('[data-look-video]').currentTime")


def until(page: Page, holds: Callable[[], bool]) -> None:
    for _try in range(200):
        if holds():
            return
        page.wait_for_timeout(50)
    raise AssertionError("did not come about within ten seconds")
