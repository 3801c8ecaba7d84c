"""Where a body part is in the picture, in real Chromium: by mouse, thumb and cross-hair; with a
plane in that view the measures follow."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Browser, Page, expect

from clinics.models import Clinic, ClockFit, Entry, Swim
from feedback.models import LengthStrokes, Mark, PicturePlane
from tests.browser import fits, shot, signed_in, violations
from tests.cast import Cast, build_cast
from tests.feedback.painted_swim import Film, put_film
from tests.journeys.room import CONTENT_BOX, PHONE

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

# x from 5 to 25 m over the picture's width at its middle, 2.5 m across over half its height
CORNERS = (
    (0.0, 0.25, 5.0, 2.5),
    (1.0, 0.25, 25.0, 2.5),
    (1.0, 0.75, 25.0, 0.0),
    (0.0, 0.75, 5.0, 0.0),
)


@pytest.fixture
def filmed(transactional_db: None, film: Film, settings: Any) -> Cast:
    settings.SECOND_FACTOR_REQUIRED = False
    cast = build_cast()
    put_film(cast, film)
    ClockFit.objects.update(u_ms=3.0)
    Swim.objects.update(start_kind="heard", start_u_ms=2.0)
    points = [
        {"x": x, "y": y, "along_m": along, "across_m": across, "u_m": 0.02, "what": "marker"}
        for x, y, along, across in CORNERS
    ]
    PicturePlane.objects.create(
        recording=cast.recordings["underwater"],
        pts_ticks=0,
        points=points,
        picture_width=640,
        picture_height=360,
        under_water=True,
    )
    return cast


@pytest.fixture
def page(browser: Browser, live_server: Any, filmed: Cast, size: dict[str, int]) -> Iterator[Page]:
    touch = {"has_touch": True} if size is PHONE else {}
    context = signed_in(browser, filmed.coach, live_server.url, viewport=size, **touch)
    page = context.new_page()
    said: list[str] = []
    page.on("console", lambda m: said.append(m.text) if m.type in {"error", "warning"} else None)
    page.on("pageerror", lambda error: said.append(str(error)))
    clip = filmed.clips["tomas"][1]
    page.goto(
        live_server.url + reverse("feedback:swim", args=[clip.swim_id]) + f"?view={clip.pk}&at=20"
    )
    page.wait_for_selector("[data-room][data-ready]")
    page.wait_for_selector(f'[data-room][data-view="{clip.pk}"][data-frame="20"]')
    yield page
    context.close()
    assert said == []


def point(page: Page, x: float, y: float, *, thumb: bool) -> None:
    """On the main picture, in parts of it."""
    view = page.locator("[data-room]").get_attribute("data-view")
    picture = page.locator(f'figure[data-view="{view}"] [data-picture]')
    picture.scroll_into_view_if_needed()
    box = picture.evaluate(CONTENT_BOX)
    at = box["x"] + x * box["width"], box["y"] + y * box["height"]
    page.touchscreen.tap(*at) if thumb else page.mouse.click(*at)


def test_a_head_is_marked_where_it_is_and_metres_follow(page: Page, size: dict[str, int]) -> None:
    thumb = size is PHONE
    if thumb:
        page.locator("[data-mark-box] > summary").tap()
    page.get_by_role("button", name="with its place").click()
    page.locator(".marks .more summary").click()
    page.get_by_role("button", name="head at a distance, at this distance").click()
    asked = page.locator("[data-mark-ask]")
    expect(asked).to_contain_text("Where is it: head at a distance?")
    shot(page, f"mark-place-asked-{size['width']}")
    assert fits(page) and violations(page) == []
    point(page, 0.25, 0.5, thumb=thumb)
    expect(asked).to_be_hidden()
    expect(page.locator("[data-mark-list] > ol > li")).to_have_count(1)
    mark = Mark.objects.get()
    assert (mark.kind, mark.distance_m) == ("head-at-distance", None)
    assert mark.x == pytest.approx(0.25, abs=0.01) and mark.y == pytest.approx(0.5, abs=0.02)
    measures = page.locator("[data-measures]")
    told = measures.locator('[data-measure^="time-to-distance"]')
    expect(told).to_contain_text("Time to ")
    told.locator("summary").click()
    expect(told).to_contain_text("By the plane in the picture: ")
    expect(page.locator("[data-mark-places] circle.ink")).to_have_count(1)
    told.scroll_into_view_if_needed()
    shot(page, f"mark-place-told-{size['width']}")
    assert fits(page) and violations(page) == []


def test_a_place_is_said_afterwards_by_hand_or_by_cross_hair(
    page: Page, size: dict[str, int]
) -> None:
    thumb = size is PHONE
    if thumb:
        page.locator("[data-mark-box] > summary").tap()
    page.get_by_role("button", name="head breaks surface", exact=True).click()
    expect(page.locator("[data-mark-list] > ol > li")).to_have_count(1)
    assert Mark.objects.get().x is None
    page.locator("[data-mark-list] summary").click()
    page.get_by_role("button", name="Say where it is in the picture: head breaks surface").click()
    expect(page.locator("[data-mark-ask]")).to_be_visible()
    if thumb:
        point(page, 0.5, 0.5, thumb=True)
    else:
        page.keyboard.press("ArrowRight")
        for _ in range(2):
            page.keyboard.press("Shift+ArrowRight")  # 5 hundredths of the height each
        page.keyboard.press("Enter")
    expect(page.locator("[data-mark-list] > ol > li")).to_contain_text(
        "with its place in the picture"
    )
    mark = Mark.objects.get()
    assert mark.kind == "breakout" and mark.y == pytest.approx(0.5, abs=0.01)
    assert mark.x == pytest.approx(0.5 if thumb else 0.5 + 0.11 * 360 / 640, abs=0.01)
    under = page.locator('[data-measure^="underwater-distance"]')
    expect(under).to_contain_text("Distance under water")


def test_escape_marks_without_a_place_and_another_frame_marks_nothing(
    page: Page, filmed: Cast, size: dict[str, int]
) -> None:
    if size is PHONE:
        page.locator("[data-mark-box] > summary").tap()
    page.get_by_role("button", name="with its place").click()
    asked = page.locator("[data-mark-ask]")
    page.get_by_role("button", name="head breaks surface", exact=True).click()
    expect(asked).to_be_visible()
    page.get_by_role("button", name="One frame on").click()
    expect(asked).to_be_hidden()
    assert not Mark.objects.exists()
    page.get_by_role("button", name="head breaks surface", exact=True).click()
    expect(asked).to_be_visible()
    if size is PHONE:
        page.get_by_role("button", name="without a place").tap()
    else:
        page.keyboard.press("Escape")
    expect(page.locator("[data-mark-list] > ol > li")).to_have_count(1)
    mark = Mark.objects.get()
    assert (mark.kind, mark.x) == ("breakout", None)


def test_a_breakout_takes_a_distance_with_its_half_width(page: Page, size: dict[str, int]) -> None:
    if size is PHONE:
        page.locator("[data-mark-box] > summary").tap()
    page.locator(".marks .more summary").click()
    page.get_by_label("metres swum from the start").fill("11,5")
    page.get_by_label("plus or minus metres, if you know").fill("0.5")
    shot(page, f"mark-distance-{size['width']}")
    page.get_by_role("button", name="head breaks surface, at this distance").click()
    expect(page.locator("[data-mark-list] > ol > li")).to_contain_text(
        "head breaks surface, 11.5 m"
    )
    under = page.locator('[data-measure^="underwater-distance"]')
    expect(under).to_contain_text("11.5 m ± 0.5 m")
    assert fits(page) and violations(page) == []


def test_a_medleys_strokes_are_said_length_by_length(
    page: Page, filmed: Cast, size: dict[str, int]
) -> None:
    clip = filmed.clips["tomas"][1]
    Entry.objects.filter(pk=clip.swim.entry_id).update(stroke="medley")
    Clinic.objects.filter(pk=filmed.clinic.pk).update(distance_m=75.0)
    for n in range(5):
        Mark.objects.create(
            swim=clip.swim,
            recording=clip.recording,
            pts_ticks=clip.in_ticks + 3600 * (20 + 10 * n),
            interval_ticks=3600,
            kind="hand-entry",
            placed_by=filmed.coach,
        )
    page.reload()
    form = page.locator(".strokes-said")
    for number, stroke in ((1, "butterfly"), (2, "backstroke"), (3, "freestyle")):
        form.get_by_label(f"Length {number}").select_option(stroke)
    form.scroll_into_view_if_needed()
    shot(page, f"medley-{size['width']}")
    assert fits(page) and violations(page) == []
    form.get_by_role("button", name="Save the strokes").click()
    expect(page.locator('[data-measure="stroke-rate-1-0"]')).to_contain_text("/min")
    assert LengthStrokes.objects.get().strokes == ["butterfly", "backstroke", "freestyle"]
