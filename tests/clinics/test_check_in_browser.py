"""The checker's pages and the consent list in a real browser, on a laptop and on a phone.

axe-core is the outside witness for access; the browser's own console for the content policy.
"""

from __future__ import annotations

import subprocess
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.test import Client
from django.urls import reverse
from playwright.sync_api import Browser, Page

from clinics.models import ClipFile, Swim
from portal.models import User
from tests.browser import signed_in
from tests.cast import Cast, sign_in

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

SIZES = [(1280, 860), (360, 740)]


@pytest.fixture
def filmed(cast: Cast, tmp_path: Path) -> Cast:
    """Nothing is checked yet, and the clips can be played: 100 pictures at 25 a second."""
    Swim.objects.filter(entry__clinic=cast.clinic).update(
        person="unconfirmed", others_recorded_at=None, passed_at=None, given_at=None
    )
    path = tmp_path / "clip.mp4"
    source = ["-f", "lavfi", "-i", "testsrc=size=640x360:rate=25:duration=4"]
    codec = ["-c:v", "libx264", "-preset", "ultrafast", "-g", "6", "-bf", "0"]
    shown = ["-pix_fmt", "yuv420p", "-movflags", "+faststart", str(path)]
    subprocess.run(["ffmpeg", "-nostdin", "-v", "error", "-y", *source, *codec, *shown], check=True)
    for video in ClipFile.objects.filter(kind="video").select_related("stored"):
        video.stored.local_path().write_bytes(path.read_bytes())
    return cast


def open_page(browser: Browser, server: Any, user: User, size: tuple[int, int], path: str) -> Page:
    context = signed_in(
        browser,
        user,
        server.url,
        viewport={"width": size[0], "height": size[1]},
        locale="en-GB",
        reduced_motion="reduce",
    )
    page = context.new_page()
    page.complaints = []  # type: ignore[attr-defined]
    page.on("console", lambda m: page.complaints.append(m.text))  # type: ignore[attr-defined]
    page.on("pageerror", lambda e: page.complaints.append(str(e)))  # type: ignore[attr-defined]
    page.goto(server.url + path)
    page.wait_for_load_state("networkidle")
    return page


TOO_SMALL = """() => [...document.querySelectorAll('main :is(a.button, button, summary, .check)')]
    .filter(e => e.offsetParent && e.getBoundingClientRect().height < 44)
    .map(e => e.textContent.trim())"""


@pytest.mark.parametrize("size", SIZES, ids=["laptop", "phone"])
def test_pages_fit_and_are_within_reach(
    browser: Browser, live_server: Any, filmed: Cast, size: tuple[int, int]
) -> None:
    clinic, swim = filmed.clinic.pk, filmed.swims["tomas"].pk
    for user, path in (
        (filmed.checker, reverse("clinics:check", args=[clinic])),
        (filmed.checker, reverse("clinics:check-swim", args=[swim])),
        (filmed.admin, reverse("clinics:consent", args=[clinic])),
        (filmed.admin, reverse("clinics:close", args=[clinic])),
    ):
        page = open_page(browser, live_server, user, size, path)
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0], path
        assert page.evaluate(TOO_SMALL) == [], path
        found = Axe().run(page).response["violations"]
        assert [(v["id"], [n["html"][:120] for n in v["nodes"]]) for v in found] == [], path
        assert page.complaints == [], path  # type: ignore[attr-defined]
        page.context.close()


def wait_until_at(page: Page, seconds: float) -> None:
    """The first player stands in the middle of that frame's time."""
    for _try in range(100):
        at = page.evaluate("document.querySelector('video').currentTime")
        if abs(at - seconds) < 0.0005:
            return
        page.wait_for_timeout(50)
    raise AssertionError(f"stands at {at}, not at {seconds}")


def test_a_checker_steps_looks_and_passes_without_going_back(
    browser: Browser, live_server: Any, filmed: Cast
) -> None:
    path = reverse("clinics:check-swim", args=[filmed.swims["tomas"].pk])
    page = open_page(browser, live_server, filmed.checker, SIZES[0], path)
    on, back = page.locator("[data-step='1']").first, page.locator("[data-step='-1']").first
    for button, frame in ((on, 1), (on, 2), (on, 3), (back, 2)):
        button.click()
        wait_until_at(page, (frame + 0.5) / 25)
    page.locator("[data-slow]").first.click()
    assert page.evaluate("document.querySelector('video').playbackRate") == 0.25

    page.get_by_role("button", name="The card says 1").click()
    page.get_by_text("number 1 seen, confirmed").wait_for()
    page.get_by_role("checkbox", name="Wren Okada").check()
    page.get_by_label("Nobody else").check()
    assert not page.get_by_role("checkbox", name="Wren Okada").is_checked()
    page.get_by_role("button", name="Pass to the coaches, next swim").click()
    page.wait_for_url("**" + reverse("clinics:check-swim", args=[filmed.swims["wren"].pk]))
    assert page.get_by_role("heading", level=1).inner_text() == "Wren Okada"
    assert Swim.objects.get(pk=filmed.swims["tomas"].pk).passed_at is not None
    assert page.complaints == []  # type: ignore[attr-defined]
    page.context.close()


def test_it_all_works_without_script(browser: Browser, live_server: Any, filmed: Cast) -> None:
    cookie = sign_in(Client(), filmed.checker).cookies["session"].value
    context = browser.new_context(java_script_enabled=False)
    context.add_cookies([{"name": "session", "value": cookie, "url": live_server.url}])
    page = context.new_page()
    page.goto(live_server.url + reverse("clinics:check-swim", args=[filmed.swims["tomas"].pk]))
    page.get_by_role("button", name="I know Tomas Birk by face").click()
    page.get_by_label("Nobody else").check()
    page.get_by_role("button", name="Note it, next swim").click()
    page.goto(live_server.url + reverse("clinics:check", args=[filmed.clinic.pk]))
    page.get_by_role("button", name="Pass 1 swim to the coaches").click()
    assert "1 swim passed to the coaches." in page.content()
    context.close()
