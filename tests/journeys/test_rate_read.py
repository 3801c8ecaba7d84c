"""Rate from the picture, in real Chromium: the box by mouse or finger and by keys, the loop, the
result, what was followed."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from clinics.models import Clip
from feedback.compute.rate_read.result import reading_of
from feedback.models import RateReading
from portal.actions.job_worker import drain
from tests.browser import fits, violations
from tests.cast import Cast, build_cast
from tests.feedback.rate_read.filmed import Filmed, film, put
from tests.journeys.room import PHONE, WIDE, Room, rooms_of

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]


@pytest.fixture(scope="module")
def filmed(tmp_path_factory: pytest.TempPathFactory) -> Filmed:
    return film(tmp_path_factory.mktemp("rate"))


@pytest.fixture
def cast(transactional_db: None, settings: Any) -> Cast:
    settings.SECOND_FACTOR_REQUIRED = False
    return build_cast()


@pytest.fixture
def clip(cast: Cast, filmed: Filmed) -> Clip:
    return put(cast, filmed)


@pytest.fixture(params=[WIDE, PHONE], ids=["1280", "360"])
def room(
    request: Any, browser: Browser, live_server: Any, cast: Cast, clip: Clip
) -> Iterator[Room]:
    with rooms_of(browser, live_server.url, request.param) as room_of:
        yield room_of(cast.coach).open(clip, f"?view={clip.pk}&at=10")


def opened(page: Page) -> Page:
    page.locator("[data-rate-read] > summary").click()
    return page


def picture_box(page: Page) -> dict[str, float]:
    overlay = page.locator("figure.view.shown [data-rate-overlay]").first
    overlay.scroll_into_view_if_needed()
    box = overlay.bounding_box()
    assert box
    return box


def drag(page: Page, box: dict[str, float], begin: Any, end: Any) -> None:
    """From one place to another, as parts of the picture."""
    points = [(box["x"] + box["width"] * x, box["y"] + box["height"] * y) for x, y in (begin, end)]
    page.mouse.move(*points[0])
    page.mouse.down()
    page.mouse.move(*points[1], steps=4)
    page.mouse.up()


def field(page: Page, name: str) -> str:
    return page.locator(f'[data-rate-form] [name="{name}"]').input_value()


def test_a_coach_reads_the_rate_of_a_boxed_swimmer(room: Room, clip: Clip, filmed: Filmed) -> None:
    page = opened(room.page)
    here = filmed.drawn.box
    assert here
    page.get_by_role("button", name="Set a box around the swimmer").click()
    expect(page.locator("[data-rate-said]")).to_contain_text("Draw a box around the swimmer")
    moved = 50 / 25 * 14 / 240  # of the drawn swimmer until frame 10 of the clip
    corners = (here.x + moved, here.y), (here.x + moved + here.width, here.y + here.height)
    drag(page, picture_box(page), *corners)
    expect(page.locator("[data-rate-said]")).to_contain_text("The box stands in")
    assert field(page, "box_frame") == "10"
    assert float(field(page, "box_x")) == pytest.approx(corners[0][0], abs=0.02)
    assert float(field(page, "box_width")) == pytest.approx(here.width, abs=0.02)
    expect(page.locator("[data-rate-overlay] .rate-set")).to_be_visible()
    room.shoot("rate-box")
    page.get_by_role("button", name="Read the rate").click()
    expect(page.locator("#rate-read-list [data-job]")).to_be_visible()
    drain(("render",))
    expect(page.locator("#rate-read-list")).to_contain_text("cycles/min ±")
    row = RateReading.objects.get()
    reading = reading_of(row.result or {})
    true = filmed.rate(reading.from_s, reading.to_s)
    assert reading.rate_per_min == pytest.approx(true, rel=0.03)
    page.get_by_role("button", name="show what was followed").click()
    expect(page.locator("[data-rate-overlay] .rate-followed")).to_be_visible()
    page.get_by_text("in other units").click()
    expect(page.locator("#rate-read-list")).to_contain_text("strokes/min")
    page.locator("#rate-read-list").scroll_into_view_if_needed()
    room.shoot("rate-read")
    assert fits(page)
    assert violations(page) == []
    page.get_by_role("button", name="Take away").click()
    expect(page.locator("[data-rate-reading]")).to_have_count(0)


def test_by_keys_a_box_of_two_corners_in_the_loop(room: Room, clip: Clip) -> None:
    page = opened(room.page)
    room.press("b")
    room.press(*["ArrowRight"] * 3)
    room.wait_for(clip, 13)
    room.press("e")
    expect(page.locator("[data-rate-span]")).to_have_value("loop")
    expect(page.locator('[data-rate-form] [name="to_frame"]')).to_have_value("13")
    assert field(page, "from_frame") == "10"
    page.get_by_role("button", name="Set a box around the swimmer").focus()
    room.press("Enter")
    page.locator("body").evaluate("() => document.activeElement.blur()")
    room.press("ArrowLeft", "ArrowUp", "Enter")
    expect(page.locator("[data-rate-said]")).to_contain_text("One corner is set")
    room.press(*["Shift+ArrowRight"] * 4, *["Shift+ArrowDown"] * 3, "Enter")
    expect(page.locator("[data-rate-said]")).to_contain_text("The box stands in")
    assert float(field(page, "box_width")) > 0.05
    assert float(field(page, "box_height")) == pytest.approx(0.15, abs=0.02)
    page.get_by_role("button", name="without a box").click()
    assert field(page, "box_x") == ""
    page.locator("[data-rate-span]").select_option("view")
    expect(page.locator('[data-rate-form] [name="to_frame"]')).to_have_value("")


def test_the_box_by_itself(room: Room) -> None:
    """Geometry, asked where it runs."""
    asked = """async () => {
      const { boxBetween, followedAt, isSmall } = await import(
        "/static/feedback/room/rate-read/box.js");
      const way = { way: [[1, 0.2, 0.5], [2, 0.4, 0.5]], width: 0.2, height: 0.1 };
      return JSON.stringify([boxBetween([0.6, 0.5], [0.2, 0.75]), followedAt(way, 1.5),
        followedAt(way, 0.5), followedAt(way, 2.5), isSmall({ width: 0.02, height: 1 })]);
    }"""
    between, at, before, after, small = json.loads(room.page.evaluate(asked))
    assert between == pytest.approx({"x": 0.2, "y": 0.5, "width": 0.4, "height": 0.25})
    assert at == pytest.approx({"x": 0.2, "y": 0.45, "width": 0.2, "height": 0.1})
    assert (before, after, small) == (None, None, True)
