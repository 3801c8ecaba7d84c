"""Points of the body in a real browser: set by mouse, finger and keys, moved, taken away.

The witness for the place is the screen: where the page was pressed, the points must be.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Browser, Locator, Page, expect

from clinics.models import Clip
from feedback.actions.body import set_body_points
from feedback.models import BodyPoints, Mark
from portal.models import User
from tests.browser import fits, shot, signed_in, violations
from tests.cast import Cast, build_cast
from tests.feedback.measuring.bodies import on_screen
from tests.feedback.painted_swim import Film, put_film
from tests.journeys.room import PHONE, WIDE

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

FRAME = 40
ARM = {
    "hip-right": (0.50, 0.60),
    "shoulder-right": (0.62, 0.58),
    "elbow-right": (0.70, 0.45),
    "wrist-right": (0.78, 0.55),
    "fingertip-right": (0.82, 0.57),
}


@pytest.fixture
def filmed(transactional_db: None, film: Film, settings: Any) -> Cast:
    settings.SECOND_FACTOR_REQUIRED = False
    cast = build_cast()
    put_film(cast, film)
    return cast


class Table:
    """The page at a frame of the underwater view, and hands on its picture."""

    def __init__(self, page: Page, server: str, clip: Clip) -> None:
        self.page, self.server, self.clip = page, server, clip
        self.said: list[str] = []
        bad = {"error", "warning"}
        page.on("console", lambda m: self.said.append(m.text) if m.type in bad else None)
        page.on("pageerror", lambda error: self.said.append(str(error)))

    def open(self, frame: int = FRAME) -> Table:
        place = reverse("feedback:swim", args=[self.clip.swim_id])
        self.page.goto(f"{self.server}{place}?view={self.clip.pk}&at={frame}")
        self.page.wait_for_selector("[data-room][data-ready]")
        self.at(frame)
        return self

    def at(self, frame: int) -> None:
        self.page.wait_for_selector(
            f'[data-room][data-view="{self.clip.pk}"][data-frame="{frame}"]'
        )

    @property
    def area(self) -> Locator:
        return self.page.locator(f'figure[data-view="{self.clip.pk}"] [data-body-overlay]')

    @property
    def width(self) -> int:
        assert self.page.viewport_size
        return self.page.viewport_size["width"]

    @property
    def asked(self) -> Locator:
        return self.page.locator("[data-body-next]")

    def place(self, point: tuple[float, float]) -> tuple[float, float]:
        box = self.area.bounding_box()
        assert box
        scale = min(box["width"] / 640, box["height"] / 360)
        left = box["x"] + (box["width"] - 640 * scale) / 2
        top = box["y"] + (box["height"] - 360 * scale) / 2
        return left + point[0] * 640 * scale, top + point[1] * 360 * scale

    def tap(self, point: tuple[float, float]) -> None:
        """By a finger where there is one."""
        finger = self.width == PHONE["width"]
        (self.page.touchscreen.tap if finger else self.page.mouse.click)(*self.place(point))

    def shoot(self, name: str) -> None:
        shot(self.page, f"body-{name}-{self.width}")

    def choose(self, what: str) -> None:
        box = self.page.locator("[data-body-box]")
        if box.get_attribute("open") is None:
            box.locator("summary").first.click()
        self.page.get_by_label("Points for").select_option(label=what)
        self.page.get_by_role("button", name="Set points").click()
        self.area.scroll_into_view_if_needed()

    def kept(self, so: Callable[[list[BodyPoints]], bool]) -> list[BodyPoints]:
        """What is sent arrives a moment later."""
        for _ in range(200):
            rows = list(BodyPoints.objects.order_by("pts_ticks"))
            if so(rows):
                return rows
            self.page.wait_for_timeout(50)
        raise AssertionError([row.points for row in rows])


@pytest.fixture
def tables(browser: Browser, live_server: Any, size: dict[str, int]) -> Iterator[Any]:
    opened = []

    def table_of(user: User, clip: Clip) -> Table:
        touch = {"has_touch": True} if size is PHONE else {}
        context = signed_in(browser, user, live_server.url, viewport=size, **touch)
        table = Table(context.new_page(), live_server.url, clip)
        opened.append((table, context))
        return table

    yield table_of
    for table, context in opened:
        context.close()
        # a refusal is an answer of the server, which the console repeats
        assert [words for words in table.said if "422" not in words] == []


def put(cast: Cast, frame: int, clip: Clip, **more: Any) -> BodyPoints:
    told: dict[str, Any] = {"points": on_screen(), "by": cast.coach, **more}
    body = set_body_points(
        swim=clip.swim, clip=clip, frame=frame, width_px=640, height_px=360, **told
    )
    assert body
    return body


def near(body: BodyPoints, expected: dict[str, tuple[float, float]], tolerance: float) -> bool:
    return set(body.points) == set(expected) and all(
        max(abs(body.points[name][0] - x), abs(body.points[name][1] - y)) < tolerance
        for name, (x, y) in expected.items()
    )


def test_an_arm_by_hand_is_asked_for_point_by_point_and_told_at_once(
    filmed: Cast, tables: Any
) -> None:
    table = tables(filmed.coach, filmed.clips["tomas"][1]).open()
    table.choose("one arm")
    words = ("hip, right", "shoulder, right", "elbow, right", "wrist, right", "fingertip, right")
    for n, (name, point) in enumerate(zip(words, ARM.values(), strict=True), start=1):
        expect(table.asked).to_have_text(f"Next: {name} ({n} of 5)")
        table.tap(point)
    expect(table.asked).to_have_text("Every point of this set is set or passed over.")
    (body,) = table.kept(lambda rows: bool(rows) and len(rows[0].points) == 5)
    assert near(body, ARM, 0.004)
    told = table.page.locator("article[data-body]")
    expect(told).to_contain_text("Elbow, right")
    expect(told).to_contain_text("°")
    expect(told).to_contain_text("it takes 70")  # no centre of an arm
    expect(table.page.locator("[data-body-tells]")).to_contain_text("Wrist, right")
    expect(table.page.locator("[data-body-hint]")).to_be_in_viewport(ratio=1)
    expect(table.area).to_be_in_viewport(ratio=0.9)
    assert table.page.locator("[data-room]").get_attribute("data-frame") == str(FRAME)
    finest = body.points["elbow-right"][2]
    assert (finest > 1.5) == (table.width == 360)  # a phone's pixel covers more of the picture
    table.shoot("arm")
    assert fits(table.page) and violations(table.page) == []
    table.page.keyboard.press("Escape")
    expect(table.page.locator("[data-body-hint]")).to_be_hidden()
    table.page.keyboard.press("ArrowRight")
    table.at(FRAME + 1)
    expect(told).to_be_hidden()
    expect(table.area.locator(".body-one")).to_have_count(0)


def test_keys_alone_set_pass_over_take_back_and_move(filmed: Cast, tables: Any) -> None:
    table = tables(filmed.coach, filmed.clips["tomas"][1]).open()
    keyboard = table.page.keyboard
    keyboard.press("d")
    expect(table.asked).to_have_text("Next: fingertip, right (1 of 8)")
    keyboard.press("ArrowRight")  # shows the cross-hair in the middle of the picture
    keyboard.press("Enter")
    expect(table.asked).to_have_text("Next: top of the head (2 of 8)")
    keyboard.press("o")  # cannot be seen
    expect(table.asked).to_have_text("Next: shoulder, right (3 of 8)")
    keyboard.press("Backspace")
    expect(table.asked).to_have_text("Next: top of the head (2 of 8)")
    for _ in range(4):
        keyboard.press("Shift+ArrowLeft")
    keyboard.press(" ")
    (body,) = table.kept(lambda rows: bool(rows) and len(rows[0].points) == 2)
    step = 0.0025 * 360 / 640
    assert near(body, {"fingertip-right": (0.5, 0.5), "vertex": (0.5 - 20 * step, 0.5)}, 1e-4)
    keyboard.press("Backspace")
    table.kept(lambda rows: set(rows[0].points) == {"fingertip-right"})
    expect(table.asked).to_have_text("Next: top of the head (2 of 8)")
    keyboard.press("Escape")
    # moving: the point is a button that arrows move
    table.page.get_by_role("button", name="Move body points").press("Enter")
    handle = table.page.get_by_role("button", name="Point: fingertip, right")
    handle.focus()
    for _ in range(3):
        keyboard.press("ArrowDown")
    keyboard.press("Enter")
    table.kept(lambda rows: near(rows[0], {"fingertip-right": (0.5, 0.5075)}, 1e-4))
    expect(handle).to_be_focused()
    keyboard.press("Delete")
    table.kept(lambda rows: rows == [])
    expect(table.page.locator("article[data-body]")).to_have_count(0)


def test_points_are_moved_and_taken_away_by_hand(filmed: Cast, tables: Any) -> None:
    clip = filmed.clips["tomas"][1]
    put(filmed, FRAME, clip, points={name: list(at) for name, at in ARM.items()})
    table = tables(filmed.coach, clip).open()
    table.page.locator("[data-body-box] > summary").click()
    table.page.get_by_role("button", name="Move body points").click()
    table.area.scroll_into_view_if_needed()
    mouse = table.page.mouse
    mouse.move(*table.place(ARM["elbow-right"]))
    mouse.down()
    mouse.move(*table.place((0.70, 0.30)), steps=4)
    mouse.up()
    moved = {**ARM, "elbow-right": (0.70, 0.30)}
    table.kept(lambda rows: near(rows[0], moved, 0.004))
    expect(table.page.locator("[data-body-done]")).to_contain_text("In hand: elbow, right")
    table.page.get_by_role("button", name="Take this point away").click()
    table.kept(lambda rows: "elbow-right" not in rows[0].points and len(rows[0].points) == 4)
    table.shoot("moving")
    assert fits(table.page) and violations(table.page) == []


def test_refused_and_lost_points_are_said(filmed: Cast, tables: Any) -> None:
    table = tables(filmed.coach, filmed.clips["tomas"][1]).open()
    table.choose("one arm")
    error = table.page.locator("[data-body-error]")
    table.tap((0.5, 0.5))
    table.kept(lambda rows: len(rows) == 1)
    table.tap((0.5, 0.5))
    expect(error).to_contain_text("are all at one place")
    expect(table.asked).to_have_text("Next: shoulder, right (2 of 5)")
    table.page.route("**/body/", lambda route: route.abort())
    table.tap((0.6, 0.5))
    expect(error).to_contain_text("Not saved")
    table.said.clear()  # the browser says of itself that it could not send
    table.page.unroute("**/body/")
    table.tap((0.7, 0.4))
    expect(error).to_be_hidden()
    table.kept(lambda rows: len(rows[0].points) == 3)


def test_whole_bodies_show_the_centre_its_way_and_words_for_the_swimmer(
    filmed: Cast, tables: Any
) -> None:
    clip = filmed.clips["tomas"][1]
    put(filmed, FRAME, clip)
    further = {name: [x + 0.05, y] for name, (x, y) in on_screen().items()}
    put(filmed, FRAME + 3, clip, points=further)
    table = tables(filmed.coach, clip).open()
    expect(table.area.locator(".centre-sign")).to_have_count(1)
    expect(table.area.locator(".body-way-ink .point")).to_have_count(2)
    told = table.page.locator("article[data-body]:visible")
    expect(told).to_contain_text("100\u00a0% of the body's mass")
    way = table.page.locator(".body-way")
    way.locator("summary").click()
    expect(way).to_contain_text("Set marks of known place in it first.")
    table.page.locator(".body-frames summary").click()
    table.shoot("whole-coach")
    assert fits(table.page) and violations(table.page) == []
    table.page.locator(".body-frames a.jump-to").nth(1).click()
    table.at(FRAME + 3)
    expect(table.page.locator(".body-frames li.now")).to_have_count(1)
    table.page.locator(".body-frames li.now").get_by_role("button").click()
    table.kept(lambda rows: len(rows) == 1)
    expect(table.page.locator(".body-frames")).to_contain_text("22 points")

    theirs = tables(filmed.tomas, clip).open()
    expect(theirs.area.locator(".centre-sign")).to_have_count(1)
    told = theirs.page.locator("article[data-body]:visible")
    expect(told).to_contain_text("about 130° as seen")
    expect(told.locator(".body-angles")).to_be_hidden()
    told.locator("summary").first.click()
    expect(told.locator(".body-angles")).to_be_visible()
    assert theirs.page.locator("[data-body-row]").count() == 0
    theirs.shoot("swimmer")
    assert fits(theirs.page) and violations(theirs.page) == []


def test_other_tools_keep_their_own_pictures(filmed: Cast, tables: Any) -> None:
    """The overlays lie over each other: who has a tool in hand gets the hand."""
    table = tables(filmed.coach, filmed.clips["tomas"][1]).open()
    table.choose("one arm")
    table.tap((0.4, 0.4))
    table.kept(lambda rows: len(rows) == 1)
    table.page.keyboard.press("a")  # a pointer
    expect(table.page.locator("[data-body-hint]")).to_be_hidden()
    mouse = table.page.mouse
    mouse.move(*table.place((0.2, 0.3)))
    mouse.down()
    mouse.move(*table.place((0.4, 0.5)), steps=4)
    mouse.up()
    expect(table.page.locator("[data-drawn-count]")).to_have_text("1")
    table.page.keyboard.press("Escape")
    assert len(BodyPoints.objects.get().points) == 1


def test_a_guided_pass_and_the_points_do_not_hear_the_same_keys(filmed: Cast, tables: Any) -> None:
    table = tables(filmed.coach, filmed.clips["tomas"][1]).open()
    keyboard, panel = table.page.keyboard, table.page.locator("[data-pass-panel]")
    hint = table.page.locator("[data-body-hint]")
    keyboard.press("q")
    expect(panel).to_be_visible()
    keyboard.press("d")
    expect(panel).to_be_hidden()
    expect(hint).to_be_visible()
    keyboard.press("ArrowRight")
    keyboard.press("Enter")
    if table.width == WIDE["width"]:  # a phone has not fetched the view that the pass went to
        (body,) = table.kept(lambda rows: len(rows) == 1)
        assert set(body.points) == {"fingertip-right"}
    else:
        expect(table.asked).to_contain_text("no picture at this instant")
    assert not Mark.objects.exists()
    keyboard.press("q")
    expect(hint).to_be_hidden()
    expect(panel).to_be_visible()
