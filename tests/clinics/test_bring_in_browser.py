"""Bringing in and tying in a real browser: pause, a closed tab, safely in; frame by frame.

The witness for the frame on screen is a screenshot: each picture carries its painted number.
"""

from __future__ import annotations

import io
import os
import re
import struct
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from django.test import Client
from PIL import Image
from playwright.sync_api import Browser, Locator, Page, Route, expect

from clinics.actions import uploads
from clinics.management.demo.painted import read
from clinics.models import Consent, Recording, Tie, Upload
from portal.actions.job_worker import drain
from tests.browser import fits, shot, signed_in, violations
from tests.cast import Cast, sign_in
from tests.media.film import make_film, number_of

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]
SIZES = {"1280": {"width": 1280, "height": 1000}, "360": {"width": 360, "height": 740}}


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("film") / "CLIP0001.MP4"
    video = ("-c:v", "libx264", "-preset", "ultrafast", "-crf", "18", "-g", "25")
    make_film(path, count=150, fps=25, video=video, sound=("-c:a", "aac"))
    filling = os.urandom(24_000_000)  # an MP4 box that players skip: large enough to be stopped
    with path.open("ab") as film:
        film.write(struct.pack(">I4s", len(filling) + 8, b"free") + filling)
    return path


@pytest.fixture(params=list(SIZES))
def size(request: pytest.FixtureRequest) -> str:
    return request.param


@pytest.fixture
def open_page(
    browser: Browser, cast: Cast, live_server: Any, settings: Any, size: str
) -> Iterator[Any]:
    """Opens a path as the crew; at the end no page may have complained on its console."""
    settings.SECOND_FACTOR_REQUIRED = False
    said: list[str] = []
    contexts = []

    def opened(path: str) -> Page:
        context = signed_in(browser, cast.crew, live_server.url, viewport=SIZES[size])
        page = context.new_page()
        page.on(
            "console", lambda m: said.append(m.text) if m.type in {"error", "warning"} else None
        )
        page.on("pageerror", lambda error: said.append(str(error)))
        page.on("dialog", lambda dialog: dialog.accept())
        page.goto(path)
        contexts.append(context)
        return page

    yield opened
    for context in contexts:
        context.close()
    # Going on before the server has let go of the stopped request is answered with 423 and
    # tried again; the browser itself writes that down.
    assert [line for line in said if "status of 423" not in line] == []


def station(page: Page) -> Locator:
    return page.locator("#station-start-side")


def slow_down(monkeypatch: pytest.MonkeyPatch) -> None:
    """A server that takes 2.5 MB a second, so that there is time to stop on the way."""
    write = uploads.write_all

    def slowly(part: int, chunk: bytes) -> None:
        time.sleep(0.1)
        write(part, chunk)

    monkeypatch.setattr(uploads, "write_all", slowly)


def drain_while_nothing_asks(page: Page) -> None:
    """The tests' database is in memory: a page that asks while a job writes finds it locked,
    which a database in a file would sit out. So the page's questions wait meanwhile."""
    held: list[Route] = []
    page.route("**/bring-in/states/", lambda route: held.append(route))
    page.wait_for_timeout(500)
    drain()
    page.unroute("**/bring-in/states/")
    for route in held:
        route.continue_()


def test_a_card_goes_in_over_a_pause_and_a_closed_tab(
    cast: Cast, open_page: Any, film: Path, size: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = f"/clinics/{cast.clinic.pk}/bring-in/"
    page = open_page(path)
    slow_down(monkeypatch)
    station(page).locator("input[type=file]").set_input_files(film)
    expect(station(page).locator("[data-total]")).to_have_text(
        re.compile(r"\d+ % of .* · .*B a second · .* left")
    )
    expect(station(page).locator("[data-queue] progress")).not_to_have_attribute("value", "0")
    page.wait_for_timeout(1200)
    shot(page, f"bring-in-sending-{size}")
    station(page).get_by_role("button", name="Pause").click()
    expect(station(page).locator("[data-queue] .state")).to_contain_text("paused at")
    station(page).get_by_role("button", name="Go on").click()
    expect(station(page).locator("[data-queue] .state")).to_contain_text(" % / ")
    page.wait_for_timeout(500)
    page.close()  # the tab is gone; what came is kept
    page = open_page(path)
    monkeypatch.undo()
    expect(station(page).locator("[data-upload] .state")).to_contain_text(
        "Drop the same file again"
    )
    assert fits(page)
    offsets: list[int] = []
    page.on(
        "request",
        lambda sent: (
            offsets.append(int(sent.headers["upload-offset"])) if sent.method == "PATCH" else None
        ),
    )
    station(page).locator("input[type=file]").set_input_files(film)
    expect(station(page).locator("[data-queue] .state")).to_have_text("here")
    assert offsets[0] > 0, "it began again from the start"
    assert Upload.objects.count() == 1
    expect(station(page).locator("[data-station-state]")).to_contain_text("Taking in")
    drain_while_nothing_asks(page)
    expect(station(page).locator(".memory-card.safe")).to_contain_text("safely in")
    expect(station(page).locator("[data-station-state]")).to_contain_text("ready")
    assert fits(page)
    shot(page, f"bring-in-safe-{size}")
    assert violations(page) == []
    station(page).locator("input[type=file]").set_input_files(film)  # once more: known, not sent
    expect(station(page).locator("[data-queue] .state").last).to_contain_text("not sent again")
    [recording] = Recording.objects.filter(files__name=film.name)
    assert recording.files.get().stored.local_path().read_bytes() == film.read_bytes()


def painted_on(page: Page) -> int | None:
    picture = page.locator("[data-picture]").screenshot()
    luma = np.asarray(Image.open(io.BytesIO(picture)).convert("L"))
    return number_of(read(luma))


def all_agree(cast: Cast) -> None:
    """Who withdrew would hide the pictures of a recording without a clock from the crew."""
    Consent.objects.filter(swimmer__user=cast.sol).update(ended_at=None)


def test_a_tie_is_placed_on_the_frame_that_is_seen(
    cast: Cast, open_page: Any, film: Path, size: str
) -> None:
    from clinics.actions.bring_in import take_in_files

    [recording] = take_in_files(
        station=cast.start_side,
        paths_with_names=[(film, film.name)],
        camera_name="Right",
        by=cast.crew,
    )
    drain()
    all_agree(cast)
    page = open_page(f"/recordings/{recording.pk}/?frame=30")
    number = page.locator("[data-number]")
    field = page.locator("[data-frame-field]")
    expect(field).to_have_value("30")
    assert painted_on(page) == 30
    page.locator("body").press("ArrowRight")
    page.locator("body").press("ArrowRight")
    expect(field).to_have_value("32")
    assert painted_on(page) == 32
    page.locator('[data-step="100"]').click()
    expect(field).to_have_value("132")
    page.locator('[data-step="-10"]').click()
    page.locator("body").press("ArrowLeft")
    expect(field).to_have_value("121")
    assert painted_on(page) == 121
    page.locator("[data-row] button").first.click()
    expect(field).to_have_value("120")
    page.locator("#slider-frame").fill("75")
    expect(field).to_have_value("75")
    assert painted_on(page) == 75
    assert number.text_content() == "75"
    assert fits(page)
    shot(page, f"recording-{size}")
    page.locator("#swim").select_option(str(cast.swims["tomas"].pk))
    page.get_by_role("button", name="Tie this frame to that start").click()
    expect(page.locator(".messages")).to_contain_text("starts at this frame")
    assert Tie.objects.get(recording=recording).pts_ticks == 75 * 3600
    assert violations(page) == []
    shot(page, f"recording-tied-{size}")
    page.get_by_role("button", name="Remove").click()
    expect(page.locator(".messages")).to_contain_text("removed")
    assert not Tie.objects.exists()


def test_the_recording_page_steps_without_script(
    browser: Browser, cast: Cast, live_server: Any, settings: Any, film: Path
) -> None:
    from clinics.actions.bring_in import take_in_files

    settings.SECOND_FACTOR_REQUIRED = False
    [recording] = take_in_files(
        station=cast.start_side, paths_with_names=[(film, film.name)], camera_name="R", by=cast.crew
    )
    drain()
    all_agree(cast)
    context = browser.new_context(base_url=live_server.url, java_script_enabled=False)
    cookie = sign_in(Client(), cast.crew).cookies["session"]
    context.add_cookies([{"name": "session", "value": cookie.value, "url": live_server.url}])
    page = context.new_page()
    page.goto(f"/recordings/{recording.pk}/?frame=30")
    for step, frame in (("1", 31), ("10", 41)):
        page.locator(f'[data-step="{step}"]').click()
        page.wait_for_url(f"**frame={frame}*")
    assert painted_on(page) == 41
    page.locator("#swim").select_option(str(cast.swims["wren"].pk))
    page.get_by_role("button", name="Tie this frame to that start").click()
    assert Tie.objects.get(recording=recording).pts_ticks == 41 * 3600
    context.close()
