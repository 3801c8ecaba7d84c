"""Two swims side by side in real Chromium: in step from the breakout, standing, stepped, after
playing; on a laptop and on a phone.

What is on screen is read from screenshots: every picture carries its number. Which number is
right is known from when the pictures were drawn (painted_room.py), not from the code under test.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Browser, BrowserContext, Page, expect

from clinics.models import Clip, Recording, Swim
from feedback.models import Mark
from portal.models import User
from tests.browser import fits, shot, signed_in, violations
from tests.cast import Cast, build_cast, make_station
from tests.feedback.painted_room import Station4, least_excess_s, make_room, put_room
from tests.feedback.painted_swim import number_on
from tests.feedback.two_swims import earlier_clinic, enter, marked, swim_of

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

WIDE, PHONE = {"width": 1280, "height": 1000}, {"width": 360, "height": 740}
THEN_FRAME, NOW_FRAME = 31, 100  # the breakout, on each swim's film
WITHIN_S = 1e-4  # `data-at` is written so fine


@pytest.fixture(scope="module")
def films(tmp_path_factory: pytest.TempPathFactory) -> list[Station4]:
    return make_room(tmp_path_factory.mktemp("films"), seconds=6.0)


@dataclass
class Two:
    """Tomas three weeks ago and now. Underwater a phone filmed then (16 to 31 frames a second),
    now a camera (59.94)."""

    cast: Cast
    then: Swim
    now: Swim
    clips: tuple[Clip, Clip]
    films: tuple[Station4, Station4]

    def event_s(self, side: int) -> float:
        """When the breakout is in each swim: the first instant of its picture."""
        return float(self.films[side].edges_s[(THEN_FRAME, NOW_FRAME)[side]])

    def right(self, since_s: float) -> list[int | None]:
        """The pictures that hold an instant of the comparison."""
        return [film.true_frame(self.event_s(n) + since_s) for n, film in enumerate(self.films)]

    def hold(self, frames: list[int], since_s: float) -> bool:
        """Whether the pictures do, as finely as the instant is told."""
        return all(
            film.excess_s(frame, self.event_s(n) + since_s) < WITHIN_S
            for n, (film, frame) in enumerate(zip(self.films, frames, strict=True))
        )


def _elsewhere(clip: Clip, station: Any) -> Clip:
    Clip.objects.filter(pk=clip.pk).update(station=station)
    Recording.objects.filter(pk=clip.recording_id).update(station=station)
    clip.refresh_from_db()
    return clip


@pytest.fixture
def two(transactional_db: None, films: list[Station4], settings: Any) -> Two:
    settings.SECOND_FACTOR_REQUIRED = False
    cast = build_cast()
    start, under, window, _ = films
    now = cast.swims["tomas"]
    clips = put_room(cast, [start, under], now)
    clinic = earlier_clinic(cast, course_m=22.86)
    then = swim_of(cast, enter(clinic, now.entry.swimmer))
    earlier = put_room(cast, [start, window], then)
    for n, (clip, kind) in enumerate(zip(earlier, ("start-side", "underwater"), strict=True), 1):
        _elsewhere(clip, make_station(clinic, n, kind, clips[n - 1].station.name, kind))
    return Two(cast, then, now, (earlier[1], clips[1]), (window, under))


class Page2:
    """The page as a person uses it, and what the console said meanwhile."""

    def __init__(self, page: Page, server: str, two: Two) -> None:
        self.page, self.server, self.two = page, server, two
        self.said: list[str] = []
        page.on(
            "console",
            lambda m: self.said.append(m.text) if m.type in {"error", "warning"} else None,
        )
        page.on("pageerror", lambda error: self.said.append(str(error)))

    def open(self, query: str = "") -> Page2:
        url = reverse("feedback:compare", args=[self.two.now.pk])
        self.page.goto(self.server + url + query)
        self.page.wait_for_selector("[data-compare][data-ready]")
        return self

    @property
    def since_s(self) -> float:
        return float(self.page.locator("[data-compare]").get_attribute("data-at") or "nan")

    def frames(self) -> list[int]:
        """What is painted on the two pictures, as frames of their clips."""
        read = []
        for n, film in enumerate(self.two.films):
            surface = self.page.locator(f'[data-side="{n}"] .picture:not([hidden]) > *').first
            frame = film.frame_of(number_on(surface.screenshot()))
            assert frame is not None, f"no number of this film on picture {n}"
            read.append(frame)
        return read

    def wait_for(self, n: int, frame: int) -> None:
        self.page.wait_for_selector(f'[data-side="{n}"][data-frame="{frame}"]')


@pytest.fixture(params=[WIDE, PHONE], ids=["1280", "360"])
def size(request: pytest.FixtureRequest) -> dict[str, int]:
    return request.param


@pytest.fixture
def pages(browser: Browser, live_server: Any, two: Two, size: dict[str, int]) -> Iterator[Any]:
    opened: list[tuple[Page2, BrowserContext]] = []

    def page_of(user: User, **options: Any) -> Page2:
        touch = {"has_touch": True} if size is PHONE else {}
        context = signed_in(browser, user, live_server.url, viewport=size, **touch, **options)
        page = Page2(context.new_page(), live_server.url, two)
        opened.append((page, context))
        return page

    yield page_of
    for page, context in opened:
        context.close()
        assert page.said == []


def mark_both(two: Two) -> None:
    for clip, frame in zip(two.clips, (THEN_FRAME, NOW_FRAME), strict=True):
        marked(two.cast, clip, frame)


def test_two_swims_are_in_step_from_the_breakout(two: Two, pages: Any) -> None:
    mark_both(two)
    page = pages(two.cast.tomas).open("?mark=breakout")
    assert page.frames() == [THEN_FRAME, NOW_FRAME]
    assert abs(page.since_s) < WITHIN_S
    keys = page.page.keyboard
    for n, other, step in ((1, 0, 1), (1, 0, -7), (0, 1, 3), (0, 1, -4), (1, 0, 10)):
        keys.press(str(n + 1))
        before = page.frames()[n]
        for _ in range(abs(step) // (10 if step == 10 else 1)):
            keys.press(
                "Shift+ArrowRight" if step == 10 else f"Arrow{'Right' if step > 0 else 'Left'}"
            )
        page.wait_for(n, before + step)
        frames = page.frames()
        assert frames[n] == before + step and two.hold(frames, page.since_s)
        assert frames[other] == two.right(page.since_s)[other]
    keys.press("m")
    page.wait_for(0, THEN_FRAME)
    assert page.frames() == [THEN_FRAME, NOW_FRAME]


@pytest.mark.parametrize("engine", ["frames", "players"])
def test_stopped_after_playing_both_show_the_same_time_since_the_breakout(
    two: Two, pages: Any, engine: str
) -> None:
    mark_both(two)
    page = pages(two.cast.coach).open(f"?mark=breakout&engine={engine}")
    room = page.page.locator("[data-compare]")
    expect(room).to_have_attribute("data-engine", engine)
    for rate_keys in (0, 2):
        for _ in range(rate_keys):
            page.page.keyboard.press("ArrowDown")
        page.page.keyboard.press("m")
        page.wait_for(0, THEN_FRAME)
        page.page.keyboard.press(" ")
        expect(room).to_have_attribute("data-playing", "true")
        page.page.wait_for_timeout(1200)
        page.page.keyboard.press(" ")
        expect(room).to_have_attribute("data-playing", "false")
        page.page.wait_for_timeout(400)  # players are put on their frame once they stand
        frames, since_s = page.frames(), page.since_s
        assert since_s > 0.1 and frames[0] > THEN_FRAME and frames[1] > NOW_FRAME
        assert two.hold(frames, since_s)
        # by the swims' own times these pictures do not belong together: the mark was taken off
        assert least_excess_s(list(zip(two.films, frames, strict=True))) > 0.15


def test_a_coach_marks_what_is_missing_and_comes_back_in_step(
    two: Two, pages: Any, size: dict[str, int]
) -> None:
    marked(two.cast, two.clips[0], THEN_FRAME)
    page = pages(two.cast.coach).open()
    body = page.page
    expect(body.get_by_text("14 November 2026: the breakout is not marked.")).to_be_visible()
    expect(body.get_by_text("Course: 22.86 m against 25 m.")).to_be_visible()
    expect(body.get_by_text("frames a second against")).to_be_visible()
    assert not body.get_by_role("link", name="breakout", exact=True).count()
    marked(two.cast, two.clips[1], NOW_FRAME)  # as in the room of that swim
    body.reload()
    body.get_by_role("link", name="breakout", exact=True).click()
    body.wait_for_selector("[data-compare][data-ready]")
    assert page.frames() == [THEN_FRAME, NOW_FRAME] and Mark.objects.count() == 2
    expect(body.get_by_text("as marked on a frame").first).to_be_attached()  # a phone leaves it out
    shot(body, f"compare-{size['width']}")
    assert fits(body) and violations(body) == []


def test_views_are_chosen_and_what_does_not_reach_says_so(
    two: Two, pages: Any, size: dict[str, int]
) -> None:
    mark_both(two)
    page = pages(two.cast.coach).open("?mark=breakout")
    body = page.page
    now = two.now.clips.get(station__kind="start-side")
    then = two.then.clips.get(station__kind="start-side")
    body.locator("#view-right").select_option(str(now.pk))  # its counterpart comes with it
    body.wait_for_selector(f'[data-side="0"][data-view="{then.pk}"]')
    body.wait_for_selector(f'[data-side="1"][data-view="{now.pk}"]')
    body.keyboard.press("n")
    body.wait_for_selector(f'[data-side="0"][data-view="{two.clips[0].pk}"]')
    body.locator("[role=slider]").focus()
    body.keyboard.press("End")
    expect(body.locator("[data-not-here]:not([hidden])").first).to_be_visible()
    body.keyboard.press("?")
    expect(body.locator("dialog[open]")).to_be_visible()
    shot(body, f"compare-keys-{size['width']}")


def test_without_script_both_pictures_stand_at_the_mark(
    two: Two, pages: Any, size: dict[str, int]
) -> None:
    mark_both(two)
    page = pages(two.cast.tomas, java_script_enabled=False)
    url = reverse("feedback:compare", args=[two.now.pk])
    page.page.goto(page.server + url)
    page.page.get_by_role("link", name="breakout", exact=True).click()
    sources = [video.get_attribute("src") or "" for video in page.page.locator("video").all()]
    for n, (source, film) in enumerate(zip(sources, two.films, strict=True)):
        opens_at_s = two.event_s(n) - float(film.edges_s[0])
        assert abs(float(source.split("#t=")[1]) - opens_at_s) < 2e-3, n
    now = two.now.clips.get(station__kind="start-side")
    page.page.locator("#view-right").select_option(str(now.pk))
    page.page.get_by_role("button", name="Show these views").click()
    expect(page.page.locator("#view-right")).to_have_value(str(now.pk))
    shot(page.page, f"compare-plain-{size['width']}")
    assert fits(page.page)
