"""Marking in the room, in real Chromium: six marks by figures, by taps, taken away again.

Which frame was marked is read from the screen: every picture carries its number.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Browser, Page, expect

from clinics.models import Clip
from feedback.models import Mark
from tests.browser import fits, shot, signed_in, violations
from tests.cast import Cast, build_cast
from tests.feedback.painted_swim import Film, number_on, put_film, true_ticks
from tests.journeys.room import PHONE

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def filmed(transactional_db: None, film: Film, settings: Any) -> Cast:
    settings.SECOND_FACTOR_REQUIRED = False
    cast = build_cast()
    put_film(cast, film)
    return cast


@pytest.fixture
def page(browser: Browser, live_server: Any, filmed: Cast, size: dict[str, int]) -> Iterator[Page]:
    """The coach's page of Tomas's swim, underwater."""
    touch = {"has_touch": True} if size is PHONE else {}
    context = signed_in(browser, filmed.coach, live_server.url, viewport=size, **touch)
    page = context.new_page()
    said: list[str] = []
    page.on("console", lambda m: said.append(m.text) if m.type in {"error", "warning"} else None)
    page.on("pageerror", lambda error: said.append(str(error)))
    clip = filmed.clips["tomas"][1]
    page.goto(live_server.url + reverse("feedback:swim", args=[clip.swim_id]) + at(clip, 20))
    page.wait_for_selector("[data-room][data-ready]")
    yield page
    context.close()
    # a refusal is an answer of the server, which the console repeats
    assert [words for words in said if "422" not in words] == []


def at(clip: Clip, frame: int) -> str:
    return f"?view={clip.pk}&at={frame}"


def number(page: Page, clip: Clip) -> int | None:
    surface = page.locator(f'figure[data-view="{clip.pk}"] [data-surface]')
    return number_on(surface.screenshot())


def standing_on(page: Page, clip: Clip, frame: int) -> None:
    page.wait_for_selector(f'[data-room][data-view="{clip.pk}"][data-frame="{frame}"]')
    assert number(page, clip) == clip.first_frame + frame


def marks_on(count: int) -> list[Mark]:
    marks = list(Mark.objects.order_by("pts_ticks"))
    assert len(marks) == count
    return marks


def test_six_marks_by_figures_stand_on_the_frames_that_were_on_screen(
    page: Page, filmed: Cast, size: dict[str, int]
) -> None:
    clip = filmed.clips["tomas"][1]
    standing_on(page, clip, 20)
    page.keyboard.press("m")
    listed = page.locator("[data-mark-list] li")
    for n in range(6):
        page.keyboard.press(str(n + 1))
        expect(listed).to_have_count(n + 1)
        page.keyboard.press("ArrowRight")
        standing_on(page, clip, 21 + n)
    numbers = [20 + n + clip.first_frame for n in range(6)]
    marks = marks_on(6)
    assert [mark.pts_ticks for mark in marks] == list(true_ticks("underwater")[numbers])
    assert [mark.kind for mark in marks] == [
        "start-signal",
        "first-entry",
        "breakout",
        "hands-touch-wall",
        "feet-touch-wall",
        "feet-leave-wall",
    ]
    assert page.locator(".lane-strip .flag").count() == 6
    page.keyboard.press("m")  # figures choose views again
    page.keyboard.press("1")
    first = filmed.clips["tomas"][0]
    page.wait_for_selector(f'[data-room][data-view="{first.pk}"]')
    marks_on(6)
    page.locator("[data-mark-list] summary").click()
    page.locator("[data-mark-list] a.jump-to").nth(2).click()
    standing_on(page, clip, 22)
    expect(page.locator("[data-mark-list] li.now")).to_have_count(1)
    shot(page, f"marks-{size['width']}")
    assert fits(page) and violations(page) == []


def test_marks_by_taps_are_refused_in_words_and_taken_away(
    page: Page, filmed: Cast, size: dict[str, int]
) -> None:
    clip = filmed.clips["tomas"][1]
    if size is PHONE:
        page.locator("[data-mark-box] > summary").tap()
    page.get_by_role("button", name="head breaks surface").click()
    expect(page.locator("[data-mark-list] li")).to_have_count(1)
    page.get_by_role("button", name="head breaks surface").click()  # twice changes nothing
    page.locator(".marks .more summary").click()
    page.get_by_role("button", name="head at a distance, at this distance").click()
    expect(
        page.get_by_text(
            "Say at which distance the head is, in metres, or where it is in the picture."
        )
    ).to_be_visible()
    page.get_by_label("metres swum from the start").fill("15")
    page.get_by_label("metres swum from the start").press("Enter")
    expect(page.locator("[data-mark-list] li")).to_have_count(2)
    assert page.locator("[data-mark-error]").is_hidden()
    assert {(mark.kind, mark.distance_m) for mark in marks_on(2)} == {
        ("breakout", None),
        ("head-at-distance", 15.0),
    }
    page.locator("[data-mark-list] summary").click()
    shot(page, f"marks-taps-{size['width']}")
    page.get_by_role("button", name="Take away the mark: head at 15 m").click()
    expect(page.locator("[data-mark-list] li")).to_have_count(1)
    expect(page.locator("[data-mark-list]")).to_contain_text("head breaks surface")
    standing_on(page, clip, 20)
    assert [mark.kind for mark in marks_on(1)] == ["breakout"]
