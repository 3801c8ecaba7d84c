"""A whole swim marked with the keyboard alone, in real Chromium: how many keys that takes."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Iterator
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Browser, Page, expect

from clinics.media.render import RenderedClip
from feedback.actions.measured import measured_of
from feedback.models import Mark
from tests.browser import shot, signed_in
from tests.cast import Cast, build_cast
from tests.journeys.whole_swim import GO, events_of, make_whole, put_whole, steps_to

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

KEYS_A_MARK = 3.0  # of a full pass: one that marks, and those that go straight to the frame
QUICK_KEYS = 30


@pytest.fixture(scope="module")
def rendered(tmp_path_factory: pytest.TempPathFactory) -> RenderedClip:
    return make_whole(tmp_path_factory.mktemp("whole"))


@pytest.fixture
def filmed(transactional_db: None, rendered: RenderedClip, settings: Any) -> Cast:
    settings.SECOND_FACTOR_REQUIRED = False
    cast = build_cast()
    put_whole(cast, rendered)
    return cast


@pytest.fixture
def page(browser: Browser, live_server: Any, filmed: Cast) -> Iterator[Page]:
    context = signed_in(
        browser, filmed.coach, live_server.url, viewport={"width": 1280, "height": 1000}
    )
    page = context.new_page()
    said: list[str] = []
    page.on("console", lambda m: said.append(m.text) if m.type in {"error", "warning"} else None)
    page.on("pageerror", lambda error: said.append(str(error)))
    page.goto(live_server.url + reverse("feedback:swim", args=[filmed.swims["tomas"].pk]))
    page.wait_for_selector("[data-room][data-ready]")
    yield page
    context.close()
    assert said == []


class Hands:
    """Only presses keys, and counts them; what is on the page is read without touching it."""

    def __init__(self, page: Page) -> None:
        self.page, self.pressed, self.marked = page, Counter[str](), 0

    def press(self, key: str) -> None:
        self.page.keyboard.press(key)
        self.pressed[key] += 1

    @property
    def keys(self) -> int:
        return self.pressed.total()

    def step(self) -> tuple[str, int] | None:
        """Which event is asked for, and the frame on which the picture has come to rest."""
        before = None
        for _ in range(100):
            self.page.wait_for_timeout(60)
            told = self.page.locator("[data-pass-what]").text_content() or ""
            what = told.replace("\u00a0", " ")
            room = self.page.locator("[data-room]")
            frame = room.get_attribute("data-frame") or ""
            if what == "That was the last one of this pass.":
                return None
            if frame and (what, frame) == before:
                return what, int(frame)
            before = (what, frame)
        raise AssertionError("the picture does not come to rest")

    def mark_at(self, now: int, wanted: int) -> None:
        at = now
        for key in steps_to(now, wanted):
            self.press(key)
            far = 10 if key.startswith("Shift") else 1
            at += far if key.endswith("Right") else -far
            self.page.wait_for_selector(f'[data-room][data-frame="{at}"]')
        self.press("Enter")
        self.marked += 1
        expect(self.page.locator("[data-mark-list] > ol > li")).to_have_count(self.marked)


def go_through(page: Page, events: dict[str, list[int]], begin: str) -> tuple[Hands, float]:
    """The pass that this key begins, each event on its frame; seconds that it took."""
    hands, left = Hands(page), {name: list(frames) for name, frames in events.items()}
    began = time.monotonic()
    hands.press(begin)
    while (asked := hands.step()) is not None:
        what, now = asked
        if left[what]:
            hands.mark_at(now, left[what].pop(0))
        else:
            hands.press("o")
    return hands, time.monotonic() - began


def said(name: str, hands: Hands, took_s: float) -> None:
    print(
        f"{name}: {hands.marked} marks, {hands.keys} keys ({hands.pressed['Enter']} that mark, "
        f"{hands.pressed['o']} that go on), {hands.keys / hands.marked:.1f} a mark, {took_s:.0f} s"
    )


def test_a_full_pass_marks_a_whole_swim_by_keys(page: Page, filmed: Cast) -> None:
    events = events_of(filmed)
    hands, took_s = go_through(page, events, "Q")
    said("full pass", hands, took_s)
    assert hands.marked == Mark.objects.count() >= 45
    assert hands.keys / hands.marked <= KEYS_A_MARK
    swim = filmed.swims["tomas"]
    told = measured_of(swim, Mark.objects.all())
    assert told.wrong == ()
    keys = {one.key for one in told.measures}
    assert {"split", "stroke-rate", "stroke-length", "turn-time", "underwater-time"} <= keys
    rate = told.get("stroke-rate", 1)
    assert rate is not None
    assert abs(rate.quantity.value - 60 * 0.9 / GO.pace) <= 1.5 * rate.quantity.half_width_95
    shot(page, "pass-by-keys")


def test_a_quick_pass_of_six_marks_gives_the_times_that_matter(page: Page, filmed: Cast) -> None:
    hands, took_s = go_through(page, events_of(filmed), "q")
    said("quick pass", hands, took_s)
    assert hands.marked == Mark.objects.count() == 6
    assert hands.keys <= QUICK_KEYS
    told = {
        (one.key, one.number)
        for one in measured_of(filmed.swims["tomas"], Mark.objects.all()).measures
    }
    assert {
        ("time-to-entry", 0),
        ("breakout-time", 0),
        ("underwater-time", 1),
        ("split", 1),
        ("turn-wall", 1),
        ("underwater-time", 2),
    } <= told
