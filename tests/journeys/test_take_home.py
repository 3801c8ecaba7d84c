"""A coach puts a take-home page together and gives it; the swimmer opens it on a phone and fetches
the PDF, which is read back."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from playwright.sync_api import Browser, Page, expect
from pypdf import PdfReader

from clinics.models import Clip, Swim
from feedback.actions.draw import draw
from feedback.actions.feedback import send_feedback
from feedback.models import TakeAlong, TakeHome
from portal.actions.job_worker import drain
from tests.browser import fits, opener, shot, violations
from tests.cast import Cast, build_cast, sign_in
from tests.feedback.marked_swims import mark_swim
from tests.feedback.painted_room import Station4, put_room, room_of_run
from tests.feedback.taken_home import ONE_THING, POINTS, said_and_marked
from tests.feedback.two_swims import last_time
from tests.journeys.room import PHONE, WIDE

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

PAINTED = """() => document.images.length > 1
  && [...document.images].every(one => one.complete && one.naturalWidth > 0)"""
expect.set_options(timeout=15_000)


@pytest.fixture(scope="module")
def stations(tmp_path_factory: pytest.TempPathFactory) -> list[Station4]:
    return room_of_run(tmp_path_factory, 4)


@pytest.fixture
def cast(transactional_db: None, stations: list[Station4], settings: Any) -> Cast:
    """Words, marks and two drawings were sent; three weeks ago Tomas was slower."""
    settings.SECOND_FACTOR_REQUIRED = False
    cast = build_cast()
    before = last_time(cast)
    mark_swim(before, before.clips.first().recording, cast.coach, slower_s=0.4)  # type: ignore[union-attr]
    swim = said_and_marked(cast)
    clips = put_room(cast, stations)
    for clip, points in (
        (clips[1], [[0.3, 0.3], [0.5, 0.4], [0.4, 0.7]]),
        (clips[0], [[0.5, 0.5]]),
    ):
        _draw(cast, clip, points)
    send_feedback(swim=swim, by=cast.coach)
    return cast


def _draw(cast: Cast, clip: Clip, points: list[list[float]]) -> None:
    row = Clip.objects.select_related("swim__entry__clinic__club", "recording").get(pk=clip.pk)
    draw(
        swim=row.swim,
        by=cast.coach,
        clip=row,
        frame=30,
        kind="joint" if len(points) == 3 else "level",
        points=points,
        colour="flag",
        width_px=640,
        height_px=360,
    )


@pytest.fixture
def open_page(browser: Browser, live_server: Any) -> Iterator[Any]:
    with opener(browser, live_server.url, WIDE) as opened:
        yield opened


def good(page: Page, name: str) -> None:
    shot(page, name)
    assert fits(page) and violations(page) == []


def choose_and_give(page: Page, width: int) -> None:
    page.get_by_role("link", name="Put it together").scroll_into_view_if_needed()
    shot(page, f"take-home-room-{width}")
    page.get_by_role("link", name="Put it together").click()
    sheet = page.locator("article.sheet")
    expect(sheet).to_contain_text(ONE_THING)
    expect(sheet.locator(".lines li")).to_have_count(8)
    expect(page.get_by_label("what differs from last time")).to_be_checked()
    # a ninth is refused in words, and what was ticked stays
    page.get_by_text("other measures").click()
    page.get_by_label("Reaction time").check()
    expect(page.get_by_role("alert")).to_have_text(
        "At most 8 measures fit on the page: take 1 off."
    )
    page.get_by_label("Block time").uncheck()
    expect(page.get_by_role("alert")).to_have_count(0)
    expect(sheet).to_contain_text("Reaction time")
    expect(sheet).not_to_contain_text("Block time")
    page.get_by_role("button", name="Make stills of the 2 frames that were drawn on").click()
    expect(page.get_by_role("status").first).to_contain_text("2 stills are being made.")
    expect(sheet).to_contain_text("2 stills are being made. They come here by themselves.")
    drain()
    expect(sheet.locator("figure img")).to_have_count(2)  # the page was loaded again by itself
    page.wait_for_function(PAINTED)
    good(page, f"take-home-choose-{width}")
    page.get_by_role("button", name="Give to Tomas Birk").click()
    expect(page.get_by_text("Given to Tomas Birk.")).to_be_visible()
    expect(page.get_by_text("Tomas Birk has this page, since")).to_be_visible()


@pytest.mark.parametrize("size", [WIDE, PHONE], ids=["1280", "360"])
def test_a_coach_gives_a_page_and_the_swimmer_takes_it_home(
    open_page: Any, cast: Cast, tmp_path: Path, size: dict[str, int]
) -> None:
    swim = cast.swims["tomas"]
    coach: Page = open_page(reverse("feedback:swim", args=[swim.pk]), cast.coach, size)
    choose_and_give(coach, size["width"])
    assert TakeHome.objects.get().given_by == cast.coach
    assert TakeAlong.objects.filter(for_swimmer=True, state="ready").count() == 2

    page: Page = open_page("/my-swims/", cast.tomas, size)
    shot(page, f"take-home-card-{size['width']}")
    page.get_by_role("link", name="Take-home page").click()
    sheet = page.locator("article.sheet")
    for words in (ONE_THING, *POINTS, "Reaction time", "Given on"):
        expect(sheet).to_contain_text(words)
    breakout = sheet.locator(".lines li", has_text="Breakout")
    expect(breakout).to_contain_text("last time; sooner by 0.")
    expect(breakout).to_contain_text("more than its ±")
    what = breakout.get_by_text("From the start signal until the head breaks the surface")
    expect(what).to_be_hidden()
    breakout.locator("summary").click()
    expect(what).to_be_visible()
    page.wait_for_function(PAINTED)
    good(page, f"take-home-{size['width']}")
    printed = PdfReader(io.BytesIO(page.pdf(format="A4")))  # by the browser itself
    assert len(printed.pages) <= 2
    with page.expect_download() as coming:
        page.get_by_role("link", name="Save as PDF").click()
    path = tmp_path / coming.value.suggested_filename
    coming.value.save_as(path)
    read_back(path)
    others_get_nothing(cast, swim)


def read_back(path: Path) -> None:
    assert path.name == "Tomas Birk 14 Nov 2026 take-home page.pdf"
    reader = PdfReader(path)
    assert len(reader.pages) == 1
    text = " ".join(reader.pages[0].extract_text().replace("\u00a0", " ").split())
    for words in (ONE_THING, *POINTS, "Breakout", "at this distance 8.4", "± 0.04 s", "/min ± "):
        assert words in text
    assert "last time; sooner by 0." in text and "Block time" not in text
    assert len(reader.pages[0].images) == 2


def others_get_nothing(cast: Cast, swim: Swim) -> None:
    stills = TakeAlong.objects.get(pk=TakeHome.objects.get().given["stills"][0]).pk  # type: ignore[index]
    for person in (
        cast.wren,
        cast.sol,
        cast.admin,
        cast.crew,
        cast.other_coach,
        cast.other_swimmer,
    ):
        client = sign_in(Client(), person)
        for name, args in (
            ("take-home", [swim.pk]),
            ("take-home-pdf", [swim.pk]),
            ("take-home-still", [swim.pk, stills]),
            ("take-home-choose", [swim.pk]),
        ):
            assert client.get(reverse(f"feedback:{name}", args=args)).status_code == 404
