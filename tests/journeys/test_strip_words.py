"""The lane strip in words, in real Chromium: opened by keys, each line goes where it says, and
the list keeps up with marks and comments. Which frame is on screen is read from the picture."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterator
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Browser, Locator, Page, expect

from clinics.models import PoolHour
from feedback.models import Comment
from tests.browser import fits, shot, signed_in, violations
from tests.cast import Cast, build_cast
from tests.clinics.hour_tools import SIZES_OF_40, crowded, even_paces
from tests.feedback.painted_swim import Film, put_film
from tests.feedback.words import say_and_send
from tests.journeys.room import Room, rooms_of

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def filmed(transactional_db: None, film: Film, settings: Any) -> Cast:
    settings.SECOND_FACTOR_REQUIRED = False
    cast = build_cast()
    put_film(cast, film)
    return cast


@pytest.fixture
def rooms(browser: Browser, live_server: Any, size: dict[str, int]) -> Iterator[Any]:
    with rooms_of(browser, live_server.url, size) as room_of:
        yield room_of


def words_of(page: Page) -> Locator:
    """The list, opened by the keyboard alone."""
    summary = page.locator(".lane-words summary")
    summary.focus()
    page.keyboard.press("Enter")
    expect(page.locator(".lane-words")).to_have_attribute("open", "")
    return page.locator(".lane-words li")


def in_order(lines: Locator) -> bool:
    places = lines.evaluate_all("all => all.map(one => Number(one.dataset.at))")
    return places == sorted(places)


def test_each_line_goes_where_it_says(filmed: Cast, rooms: Any, size: dict[str, int]) -> None:
    even, uneven, _ = filmed.clips["tomas"]
    said = say_and_send(
        swim=even.swim,
        by=filmed.coach,
        text="Reach to your own side.\nMore.",
        clip=uneven,
        frame=57,
    )
    room: Room = rooms(filmed.coach).open(even)
    lines = words_of(room.page)
    expect(lines.filter(has_text="9.3 s: comment, Reach to your own side.")).to_have_count(1)
    view = lines.filter(has_text="in picture at Underwater 12.5 m").first
    view.get_by_role("button").focus()
    room.press("Enter")
    room.wait_for_view(uneven)
    assert room.number() == uneven.first_frame + room.frame
    assert abs(room.at_s - uneven.seen_from_s) < 0.05
    # what the picture came to is said, and the reader stays in the list
    expect(room.page.locator("[data-lane-went]")).to_have_text(f"{room.at_s:.2f} s, {name(room)}")
    expect(view.get_by_role("button")).to_be_focused()
    lines.filter(has_text="comment").get_by_role("button").click()
    room.wait_for(uneven, 57)
    assert room.number() == uneven.first_frame + 57
    assert Comment.objects.get() == said and in_order(lines)
    room.page.locator(".lane-words").scroll_into_view_if_needed()
    room.shoot(f"strip-words-{size['width']}")
    assert fits(room.page) and violations(room.page) == []


def name(room: Room) -> str:
    told = json.loads(room.page.locator("#swim-data").text_content() or "")
    return next(view["name"] for view in told["views"] if view["key"] == room.view)


def test_the_list_keeps_up_with_marks_and_comments(filmed: Cast, rooms: Any) -> None:
    even, uneven, _ = filmed.clips["tomas"]
    room: Room = rooms(filmed.coach).open(even, f"?view={uneven.pk}&at=20")
    lines = words_of(room.page)
    before = lines.count()
    room.press("m", "1")
    flag = lines.filter(has_text=": mark, ")
    expect(flag).to_have_count(1)
    assert flag.inner_text().startswith(f"{room.at_s:.1f} s: mark, ") and in_order(lines)
    room.press("Escape")
    flag.get_by_role("button").focus()  # and stays there while words come
    box = room.page.locator("#said textarea").first
    box.fill("Elbow first.")
    room.page.get_by_role("button", name="Keep as draft").click()
    pin = lines.filter(has_text=": comment, Elbow first.")
    expect(pin).to_have_count(1)
    assert lines.count() == before + 2 and in_order(lines)
    for _ in range(12):
        room.press("ArrowRight")
    flag.get_by_role("button").click()
    room.wait_for(uneven, 20)
    room.page.locator("[data-mark-list] summary").click()
    room.page.locator("[data-mark-list] form button").click()
    expect(flag).to_have_count(0)
    expect(pin).to_have_count(1)


def test_on_paper_the_words_are_there_only_if_they_were_opened(filmed: Cast, rooms: Any) -> None:
    room: Room = rooms(filmed.coach).open(filmed.clips["tomas"][0])
    words = room.page.locator(".lane-words")
    room.page.emulate_media(media="print")
    expect(words).to_be_hidden()
    room.page.emulate_media(media="screen")
    lines = words_of(room.page)
    room.page.emulate_media(media="print")
    expect(lines.first).to_be_visible()
    expect(lines.first.locator("button")).to_be_visible()
    expect(words.locator("summary")).to_be_hidden()


def test_where_nothing_is_moved_the_words_are_plain(
    filmed: Cast, browser: Browser, live_server: Any, size: dict[str, int]
) -> None:
    hour = crowded(filmed.harbour, SIZES_OF_40, even_paces(40, 80.0, 120.0))
    PoolHour.objects.create(clinic=hour, begins=dt.time(10, 30))
    for person, path, told in (
        (filmed.tomas, reverse("feedback:my-swims"), "0.0 s: at the wall, start"),
        (filmed.admin, reverse("clinics:pool-hour", args=[hour.pk]), "10:31 to 10:36: group 1"),
    ):
        with signed_in(browser, person, live_server.url, viewport=size) as context:
            page = context.new_page()
            page.goto(path)
            page.locator(".lane-words summary").first.click()
            words = page.locator(".lane-words").first
            expect(words.locator("li", has_text=told)).to_be_visible()
            assert words.locator("li button").count() == 0
            words.scroll_into_view_if_needed()
            shot(page, f"strip-words-{person.pk}-{size['width']}")
            assert fits(page) and violations(page) == []
