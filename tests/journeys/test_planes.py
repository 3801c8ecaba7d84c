"""Metres in the picture, in real Chromium: set by mouse and by keys, moved, refused, kept, read,
taken away; at 1280 and at 360 px. The imposed plane is the witness."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Browser, Locator, Page, expect

from clinics.models import Clip, Station
from feedback.actions.planes import held_planes
from feedback.models import PicturePlane
from portal.models import User
from tests.browser import fits, shot, signed_in, violations
from tests.cast import Cast, build_cast
from tests.feedback.painted_swim import Film, put_film
from tests.feedback.test_planes import PLACES, true_m
from tests.journeys.room import PHONE

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

BAD = {"error", "warning"}
FRAME = 40


@pytest.fixture
def filmed(transactional_db: None, film: Film, settings: Any) -> Cast:
    settings.SECOND_FACTOR_REQUIRED = False
    cast = build_cast()
    put_film(cast, film)
    return cast


class Pool:
    """The page at a frame of the underwater view, and hands on its picture."""

    def __init__(self, page: Page, server: str, clip: Clip) -> None:
        self.page, self.server, self.clip = page, server, clip
        self.said: list[str] = []
        page.on(
            "console",
            lambda m: self.said.append(f"{m.text} {m.location}") if m.type in BAD else None,
        )
        page.on("pageerror", lambda error: self.said.append(str(error)))

    def open(self, frame: int = FRAME) -> Pool:
        place = reverse("feedback:swim", args=[self.clip.swim_id])
        self.page.goto(f"{self.server}{place}?view={self.clip.pk}&at={frame}")
        self.page.wait_for_selector("[data-room][data-ready]")
        self.at(frame)
        self.page.locator(".plane-box > summary").click()
        return self

    def at(self, frame: int) -> None:
        self.page.wait_for_selector(
            f'[data-room][data-view="{self.clip.pk}"][data-frame="{frame}"]'
        )

    @property
    def overlay(self) -> Locator:
        return self.page.locator(f'[data-stage] [data-view="{self.clip.pk}"] [data-plane-overlay]')

    def place(self, px: float, py: float) -> tuple[float, float]:
        """Where a pixel of 640 by 360 is on the screen."""
        box = self.overlay.bounding_box()
        assert box
        scale = min(box["width"] / 640, box["height"] / 360)
        left = box["x"] + (box["width"] - 640 * scale) / 2
        top = box["y"] + (box["height"] - 360 * scale) / 2
        return left + px * scale, top + py * scale

    def tap(self, px: float, py: float) -> None:
        self.overlay.scroll_into_view_if_needed()
        self.page.mouse.click(*self.place(px, py))

    @property
    def rows(self) -> Locator:
        return self.page.locator("[data-plane-marks] > li")

    def fill(self, n: int, along_m: float, across_m: float, what: str = "marker") -> None:
        row = self.rows.nth(n)
        row.locator("[data-what]").select_option(what)
        row.locator("[data-along]").fill(f"{along_m:.4f}")
        row.locator("[data-across]").fill(f"{across_m:.4f}")

    def set(self, count: int) -> None:
        """Marks of the imposed plane, by mouse."""
        for n, (px, py) in enumerate(PLACES[:count]):
            self.tap(px, py)
            expect(self.rows).to_have_count(n + 1)
        self.page.get_by_label("flat, on the water").check()
        for n, (px, py) in enumerate(PLACES[:count]):
            self.fill(n, *true_m(px, py))

    def button(self, name: str) -> Locator:
        return self.page.get_by_role("button", name=name, exact=True)

    @property
    def words(self) -> Locator:
        return self.page.locator("[data-plane-said]")


@pytest.fixture
def pool_of(
    browser: Browser, live_server: Any, filmed: Cast, size: dict[str, int]
) -> Iterator[Callable[[User], Pool]]:
    made: list[tuple[Pool, Any]] = []

    def pool(person: User) -> Pool:
        touch = {"has_touch": True} if size is PHONE else {}
        context = signed_in(
            browser, person, live_server.url, viewport=size, locale="en-GB", **touch
        )
        one = Pool(context.new_page(), live_server.url, filmed.clips["tomas"][1])
        made.append((one, context))
        return one

    yield pool
    for one, context in made:
        context.close()
        # a refusal is an answer of the server, which the console repeats, as a cut network
        known = ("422", "ERR_FAILED")
        assert [words for words in one.said if not any(part in words for part in known)] == []


def spot_at(px: float, py: float) -> tuple[float, float]:
    row = PicturePlane.objects.get()
    held = held_planes([row.recording_id]).at(row.recording_id, row.pts_ticks)
    assert held is not None
    spot = held.spot(px / 640, py / 360, "here")
    return spot.x.value, spot.y.value


def test_metres_are_set_by_mouse_shown_read_and_taken_away(
    pool_of: Callable[[User], Pool], filmed: Cast, size: dict[str, int]
) -> None:
    pool = pool_of(filmed.coach).open()
    page = pool.page
    pool.button("Set marks of known place").click()
    pool.set(6)
    expect(page.locator("[data-plane-fit]")).to_contain_text("The 6 marks are ")
    expect(page.locator("[data-plane-fit]")).to_contain_text("None of them stands out")
    page.get_by_label("Camera to plane").fill("10")
    expect(page.locator("[data-plane-fit]")).to_contain_text("14.3 % too long")
    shot(page, f"planes-setting-{size['width']}")
    assert fits(page) and violations(page) == []
    assert page.locator("[data-room]").get_attribute("data-playing") != "true"  # taps do not play
    pool.button("Keep these metres").click()
    expect(page.locator(".plane-list li[data-key]")).to_have_count(1)
    # a click is right to half a px of the screen; the picture is up to twice as large
    assert spot_at(320, 200) == pytest.approx(true_m(320, 200), abs=0.06)
    lines = pool.overlay.locator(".plane-line text")
    expect(lines.first).to_be_attached()
    labels = lines.all_text_contents()
    assert "5 m" in labels and "10 m" in labels, labels
    pool.button("Read a place").click()
    pool.tap(320, 200)
    expect(pool.words).to_contain_text(re.compile(r"±\s.* along, .* across"))
    along_m, across_m = true_m(320, 200)
    read = re.findall(r"([\d.]+)\sm ± ([\d.]+)\sm", pool.words.inner_text().replace("\u00a0", " "))
    for (value, half), true in zip(read, (along_m, across_m), strict=True):
        assert abs(float(value) - true) <= float(half)
    pool.tap(400, 250)
    expect(pool.words).to_contain_text("between the two points")
    pool.tap(3, 8)
    expect(pool.words).to_contain_text("Not between the marks")
    shot(page, f"planes-reading-{size['width']}")
    pool.button("Done with the picture").click()
    page.get_by_label("show the lines").uncheck()
    expect(lines).to_have_count(0)
    page.get_by_label("show the lines").check()
    expect(lines.first).to_be_attached()
    page.get_by_role("button", name="Take away the metres in").click()
    expect(page.locator(".plane-list")).to_be_hidden()
    expect(lines).to_have_count(0)
    assert not PicturePlane.objects.exists()
    assert fits(page) and violations(page) == []


def test_metres_are_set_and_read_by_keys_alone(
    pool_of: Callable[[User], Pool], filmed: Cast
) -> None:
    pool = pool_of(filmed.coach).open()
    page, press = pool.page, pool.page.keyboard.press
    pool.button("Set marks of known place").focus()
    press("Enter")
    page.evaluate("document.activeElement.blur()")
    press("ArrowRight")  # the cross-hair comes, in the middle
    moves = [("ArrowLeft", "ArrowUp"), ("ArrowRight", ""), ("", "ArrowDown"), ("ArrowLeft", "")]
    places = [(4.0, 0.0), (6.0, 0.0), (6.0, 1.0), (4.0, 1.0)]
    for n, ((across, down), (along_m, across_m)) in enumerate(zip(moves, places, strict=True)):
        for key in (across, down):
            for _n in range(6 if n else 3):
                if key:
                    press(f"Shift+{key}")
        press("Enter")
        expect(pool.rows).to_have_count(n + 1)
        expect(pool.rows.nth(n).locator("[data-along]")).to_be_focused()
        page.keyboard.type(f"{along_m:g}")
        press("Enter")
        expect(pool.rows.nth(n).locator("[data-across]")).to_be_focused()
        page.keyboard.type(f"{across_m:g}")
        press("Enter")  # back to the picture
    press("Escape")
    expect(page.locator("[data-plane-fit]")).to_contain_text("Four marks always fit")
    pool.button("Keep these metres").focus()
    press("Enter")
    expect(page.locator(".plane-list li[data-key]")).to_have_count(1)
    # the cross-hair stands 15 % of the picture's height from its middle, on each side
    assert spot_at(320, 180) == pytest.approx((5.0, 0.5), abs=1e-3)
    pool.button("Read a place").focus()
    press("Enter")
    page.evaluate("document.activeElement.blur()")
    press("ArrowRight")
    press("Enter")
    expect(pool.words).to_contain_text(re.compile(r"±\s.* along"))


def test_what_makes_no_plane_is_refused_by_number_and_stays_on_screen(
    pool_of: Callable[[User], Pool], filmed: Cast, size: dict[str, int]
) -> None:
    pool = pool_of(filmed.coach).open()
    page = pool.page
    pool.button("Set marks of known place").click()
    pool.set(3)
    pool.button("Keep these metres").click()
    error = page.locator("[data-plane-error]")
    expect(error).to_contain_text("there are 3. Set 1 more")
    expect(pool.rows).to_have_count(3)
    x, y = (a + (b - a) / 2 for a, b in zip(PLACES[0], PLACES[1], strict=True))
    pool.tap(x, y)
    pool.fill(3, *true_m(x, y))
    pool.button("Keep these metres").click()
    expect(error).to_contain_text("Marks: 1, 2, 4 lie in one line")
    shot(page, f"planes-refused-{size['width']}")
    # the last one is moved, by a hand, to where the fourth of the imposed ones is
    handle = pool.overlay.locator("[data-handle]").nth(3)
    handle.hover()
    page.mouse.down()
    page.mouse.move(*pool.place(*PLACES[3]), steps=5)
    page.mouse.up()
    pool.fill(3, *true_m(*PLACES[3]))
    expect(page.locator("[data-plane-fit]")).to_contain_text("Four marks always fit")
    pool.rows.nth(0).locator("[data-remove]").click()
    expect(pool.rows).to_have_count(3)
    expect(pool.overlay.locator("[data-handle]")).to_have_count(3)
    assert not PicturePlane.objects.exists()
    page.route("**/planes/", lambda route: route.abort())  # the network is cut
    pool.button("Keep these metres").click()
    expect(error).to_contain_text("Not sent: look at the network")
    expect(pool.rows).to_have_count(3)
    page.unroute("**/planes/")
    pool.button("Drop the marks").click()
    expect(pool.rows).to_have_count(0)


def test_a_camera_that_walks_takes_metres_on_its_frame_alone_and_says_why(
    pool_of: Callable[[User], Pool], filmed: Cast, size: dict[str, int]
) -> None:
    Station.objects.filter(pk=filmed.clips["tomas"][1].station_id).update(kind="deck")
    pool = pool_of(filmed.coach).open()
    page = pool.page
    pool.button("Set marks of known place").click()
    expect(page.get_by_text("This camera walks along or is held by hand")).to_be_visible()
    pool.set(4)
    assert page.locator("[name=span]").input_value() == "frame"
    shot(page, f"planes-deck-{size['width']}")
    pool.button("Keep these metres").click()
    expect(pool.overlay.locator(".plane-line").first).to_be_attached()
    page.keyboard.press("ArrowRight")
    pool.at(FRAME + 1)
    expect(pool.overlay.locator(".plane-line")).to_have_count(0)
    page.keyboard.press("ArrowLeft")
    pool.at(FRAME)
    expect(pool.overlay.locator(".plane-line").first).to_be_attached()


def test_the_swimmer_sees_lines_and_reads_in_words_and_sets_nothing(
    pool_of: Callable[[User], Pool], filmed: Cast, size: dict[str, int]
) -> None:
    clip = filmed.clips["tomas"][1]
    points = []
    for px, py in PLACES[:5]:
        along_m, across_m = true_m(px, py)
        where = {"x": px / 640, "y": py / 360, "along_m": along_m, "across_m": across_m}
        points.append({**where, "u_m": 0.02, "what": "marker"})
    PicturePlane.objects.create(
        recording=clip.recording,
        pts_ticks=0,
        points=points,
        picture_width=640,
        picture_height=360,
        placed_by=filmed.coach,
    )
    pool = pool_of(filmed.tomas).open()
    page = pool.page
    expect(pool.overlay.locator(".plane-line").first).to_be_attached()
    assert (
        page.locator("[data-plane-set], [data-take-away] button[aria-label*=metres]").count() == 0
    )
    pool.button("Read a place").click()
    pool.tap(320, 200)
    expect(pool.words).to_contain_text("about ")
    assert "±" not in pool.words.inner_text()
    shot(page, f"planes-swimmer-{size['width']}")
    assert fits(page) and violations(page) == []
