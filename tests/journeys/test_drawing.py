"""Drawing in a real browser: by mouse, finger and keys; on its frame and its place in any size.

The witness for the place is the screen: the colour of its pixels where the drawing has to be.
"""

from __future__ import annotations

import io
import math
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.urls import reverse
from PIL import Image
from playwright.sync_api import Browser, Locator, Page, expect

from clinics.models import Clip
from feedback.compute.drawing import COLOURS, outlines_of
from feedback.models import Drawing
from portal.models import AuditEntry, User
from tests.browser import fits, shot, signed_in, violations
from tests.cast import Cast, build_cast
from tests.feedback.painted_swim import Film, put_film
from tests.feedback.test_drawing import drawn
from tests.feedback.test_drawing_geometry import GOOD, of_cosines
from tests.journeys.room import PHONE

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

BAD = {"error", "warning"}
FRAME = 40


@pytest.fixture
def told_cast(transactional_db: None, film: Film, settings: Any) -> Cast:
    settings.SECOND_FACTOR_REQUIRED = False
    cast = build_cast()
    put_film(cast, film)
    return cast


class Board:
    """The page at a frame of the underwater view, and hands on its picture."""

    def __init__(self, page: Page, server: str, clip: Clip) -> None:
        self.page, self.clip, self.server = page, clip, server
        self.said: list[str] = []
        page.on("console", lambda m: self.said.append(m.text) if m.type in BAD else None)
        page.on("pageerror", lambda error: self.said.append(str(error)))

    def open(self, frame: int = FRAME) -> Board:
        place = reverse("feedback:swim", args=[self.clip.swim_id])
        self.page.goto(f"{self.server}{place}?view={self.clip.pk}&at={frame}")
        self.page.wait_for_selector("[data-room][data-ready]")
        self.at(frame)
        if self.page.locator("[data-draw-box]").count():
            self.page.evaluate("document.querySelector('[data-draw-box]').open = true")
        return self

    def at(self, frame: int) -> None:
        self.page.wait_for_selector(
            f'[data-room][data-view="{self.clip.pk}"][data-frame="{frame}"]'
        )

    @property
    def overlay(self) -> Locator:
        return self.page.locator(f'[data-stage] [data-view="{self.clip.pk}"] [data-overlay]')

    @property
    def ones(self) -> Locator:
        return self.overlay.locator("[data-drawn] > g")

    def take(self, tool: str) -> None:
        button = self.page.locator(f'[data-take="{tool}"]')
        if button.get_attribute("aria-pressed") != "true":
            button.click()
        expect(button).to_have_attribute("aria-pressed", "true")
        self.overlay.scroll_into_view_if_needed()

    def place(self, point: Any) -> tuple[float, float]:
        """Where a point of the picture is on the screen: the picture stands whole and in the
        middle of its box."""
        box = self.overlay.bounding_box()
        assert box
        scale = min(box["width"] / 640, box["height"] / 360)
        left = box["x"] + (box["width"] - 640 * scale) / 2
        top = box["y"] + (box["height"] - 360 * scale) / 2
        return left + point[0] * 640 * scale, top + point[1] * 360 * scale

    def drag(self, *points: Any) -> None:
        mouse = self.page.mouse
        mouse.move(*self.place(points[0]))
        mouse.down()
        for point in points[1:]:
            mouse.move(*self.place(point), steps=4)
        mouse.up()

    def tap(self, *points: Any) -> None:
        for point in points:
            self.page.mouse.click(*self.place(point))

    def saved(self, count: int) -> list[Drawing]:
        """As many on the page, and kept."""
        expect(self.page.locator("[data-drawn-count]")).to_have_text(str(count))
        self.until(lambda: Drawing.objects.count() == count)
        expect(self.page.locator("[data-draw-error]")).to_be_hidden()
        return list(Drawing.objects.order_by("created_at"))

    def until(self, kept: Callable[[], bool]) -> None:
        """What is sent arrives a moment later."""
        for _ in range(100):
            if kept():
                return
            self.page.wait_for_timeout(50)
        assert kept()

    def inked(self, kind: str, points: Any, colour: str = "flag") -> bool:
        """Whether the drawing's colour is on the screen, within a pixel, along its lines."""
        picture = Image.open(io.BytesIO(self.page.screenshot())).convert("RGB")
        wanted = tuple(int(COLOURS[colour][n : n + 2], 16) for n in (1, 3, 5))
        spots = [
            self.place((x / 640, y / 360))
            for outline in outlines_of(kind, points, False, 640, 360)
            for x, y in _inner(outline.places)
        ]
        return all(_near(picture, spot, wanted) for spot in spots)


def _inner(places: Any) -> list[tuple[float, float]]:
    """Spots within each of some lines: ends are round, and may lie under another line."""
    pairs = list(zip(places, places[1:], strict=False))[:: max(1, len(places) // 8)]
    return [((a[0] + b[0]) / 2, (a[1] + b[1]) / 2) for a, b in pairs]


def _near(picture: Image.Image, spot: tuple[float, float], wanted: tuple[int, ...]) -> bool:
    x, y = round(spot[0]), round(spot[1])
    around = [picture.getpixel((x + dx, y + dy)) for dx in (-1, 0, 1) for dy in (-1, 0, 1)]
    return any(max(abs(a - b) for a, b in zip(got, wanted, strict=True)) < 40 for got in around)  # type: ignore[arg-type]


@pytest.fixture
def boards(browser: Browser, live_server: Any, size: dict[str, int]) -> Iterator[Any]:
    opened = []

    def board_of(user: User, clip: Clip) -> Board:
        touch = {"has_touch": True} if size is PHONE else {}
        context = signed_in(browser, user, live_server.url, viewport=size, **touch)
        board = Board(context.new_page(), live_server.url, clip)
        opened.append((board, context))
        return board

    yield board_of
    for board, context in opened:
        context.close()
        assert board.said == []


def close(points: Any, expected: Any, tolerance: float = 0.006) -> bool:
    return len(points) == len(expected) and all(
        math.dist(a, b) < tolerance for a, b in zip(points, expected, strict=True)
    )


def test_each_kind_by_mouse_on_its_frame_and_nowhere_else(told_cast: Cast, boards: Any) -> None:
    clip = told_cast.clips["tomas"][1]
    board = boards(told_cast.coach, clip).open()
    board.take("pointer")
    board.drag([0.2, 0.3], [0.4, 0.5])
    board.saved(1)
    board.take("ring")
    board.drag([0.5, 0.2], [0.7, 0.6])
    board.saved(2)
    board.take("trace")
    board.drag([0.1, 0.8], [0.2, 0.7], [0.3, 0.8], [0.4, 0.75])
    board.saved(3)
    board.take("straight")
    board.tap([0.6, 0.8], [0.7, 0.7], [0.8, 0.8], [0.8, 0.8])
    board.saved(4)
    board.take("joint")
    board.tap(*GOOD["joint"])
    board.saved(5)
    board.take("level")
    board.tap([0.5, 0.9])
    board.saved(6)
    board.take("plumb-line")
    board.tap([0.9, 0.5])
    rows = board.saved(7)
    shot(board.page, f"draw-all-{board.page.viewport_size['width']}")
    assert [row.kind for row in rows] == (
        ["pointer", "ring", "trace", "trace", "joint", "level", "plumb-line"]
    )
    assert close(rows[0].points, [[0.2, 0.3], [0.4, 0.5]])
    assert close(rows[1].points, [[0.5, 0.2], [0.7, 0.6]])
    assert 4 <= len(rows[2].points) <= 12 and not rows[2].straight
    assert close(rows[3].points, [[0.6, 0.8], [0.7, 0.7], [0.8, 0.8]]) and rows[3].straight
    assert close(rows[4].points, GOOD["joint"])
    assert {(row.width_px, row.height_px) for row in rows} == {(640, 360)}
    first = told_cast.recordings["underwater"]
    assert {row.recording_id for row in rows} == {first.pk} and len(
        {r.pts_ticks for r in rows}
    ) == 1
    label = board.overlay.locator(".drawn-label")
    assert label.text_content() == f"{of_cosines(rows[4].points, 640, 360):.0f}°"
    board.page.keyboard.press("Escape")
    expect(board.ones).to_have_count(7)
    board.page.locator('[data-do="on"]').click()
    board.at(FRAME + 1)
    expect(board.ones).to_have_count(0)
    board.page.locator('[data-do="back"]').click()
    board.at(FRAME)
    expect(board.ones).to_have_count(7)
    assert fits(board.page) and violations(board.page) == []
    board.open()
    expect(board.ones).to_have_count(7)


def test_a_drawing_keeps_its_place_in_any_size(told_cast: Cast, boards: Any) -> None:
    """Pixels of the pointer, the ring and the joint, as large as the view is."""
    clip = told_cast.clips["tomas"][1]
    kinds = ("pointer", "ring", "joint")
    points = {"pointer": [[0.1, 0.2], [0.3, 0.6]], "ring": [[0.4, 0.1], [0.6, 0.4]]}
    points["joint"] = [[0.5, 0.9], [0.7, 0.6], [0.9, 0.9]]
    for kind in kinds:
        drawn(told_cast, FRAME, kind=kind, points=points[kind])
    board = boards(told_cast.coach, clip).open()
    page = board.page
    widths = set()

    def right() -> None:
        board.overlay.scroll_into_view_if_needed()
        page.wait_for_timeout(600)  # a larger film may come
        box = board.overlay.bounding_box()
        assert box
        widths.add(round(box["width"]))
        for kind in kinds:
            assert board.inked(kind, points[kind]), (kind, box)

    right()
    page.keyboard.press("g")
    right()
    shot(page, f"draw-full-{page.viewport_size['width']}")
    page.keyboard.press("g")
    page.set_viewport_size({"width": 820, "height": 700})
    right()
    page.keyboard.press("v")
    right()
    assert len(widths) >= 3
    page.keyboard.press("ArrowRight")
    board.at(FRAME + 1)
    page.wait_for_timeout(300)
    assert not board.inked("ring", points["ring"])


def test_one_finger_and_the_swimmer(told_cast: Cast, boards: Any) -> None:
    """By touch, as the browser sends it; what a swimmer draws goes at once."""
    clip = told_cast.clips["tomas"][1]
    board = boards(told_cast.tomas, clip).open()
    board.take("trace")
    finger = board.page.context.new_cdp_session(board.page)

    def touch(kind: str, *points: Any) -> None:
        places = [dict(zip("xy", board.place(point), strict=True)) for point in points]
        finger.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": places})

    touch("touchStart", [0.2, 0.2])
    for n in range(1, 13):
        touch("touchMove", [0.2 + n / 20, 0.2 + 0.3 * math.sin(n / 12 * math.pi)])
    touch("touchEnd")
    (row,) = board.saved(1)
    assert (row.kind, row.straight, row.author) == ("trace", False, told_cast.tomas)
    assert row.sent_at is not None
    assert math.dist(row.points[0], [0.2, 0.2]) < 0.02
    assert math.dist(row.points[-1], [0.8, 0.2]) < 0.02
    assert max(y for _, y in row.points) == pytest.approx(0.5, abs=0.02)
    assert board.page.locator("[name=drawing-for-coaches]").count() == 0


def test_by_keys_alone(told_cast: Cast, boards: Any) -> None:
    """A joint: the cross-hair begins in the middle, and goes a hundredth of the height a step."""
    board = boards(told_cast.coach, told_cast.clips["tomas"][1]).open()
    keys = board.page.keyboard
    board.page.locator("h1").click()
    keys.press("j")
    expect(board.page.locator('[data-take="joint"]')).to_have_attribute("aria-pressed", "true")
    keys.press("ArrowLeft")  # it appears
    expect(board.overlay.locator("[data-cross-hair]")).to_have_count(1)
    for key, times in (
        ("Enter", 1),
        ("Shift+ArrowRight", 4),
        (" ", 1),
        ("ArrowUp", 20),
        ("Enter", 1),
    ):
        for _ in range(times):
            keys.press(key)
    (row,) = board.saved(1)
    aside = 0.2 * 360 / 640
    assert close(row.points, [[0.5, 0.5], [0.5 + aside, 0.5], [0.5 + aside, 0.3]], 1e-4)
    expect(board.overlay.locator(".drawn-label")).to_have_text("90°")
    keys.press("z")
    for key in ("ArrowDown", "Enter", "Shift+ArrowDown", "Enter", "Shift+ArrowLeft", "Enter"):
        keys.press(key)
    keys.press("Escape")  # ends the trace
    rows = board.saved(2)
    assert rows[1].straight and len(rows[1].points) == 3
    keys.press("Escape")  # puts the tool away
    expect(board.page.locator('[data-take="straight"]')).to_have_attribute("aria-pressed", "false")
    keys.press("ArrowRight")  # and arrows step again
    board.at(FRAME + 1)
    keys.press("u")
    board.saved(1)
    keys.press("u")
    expect(board.page.locator("[data-drawn-list]")).to_be_hidden()
    expect(board.page.locator("[data-undo]")).to_be_disabled()
    board.until(lambda: not Drawing.objects.exists())
    keys.press("Shift+U")
    board.saved(1)
    assert Drawing.objects.get().pk == row.pk


def test_what_cannot_be_saved_stays_and_is_tried_again(told_cast: Cast, boards: Any) -> None:
    board = boards(told_cast.coach, told_cast.clips["tomas"][1]).open()
    page = board.page
    page.route("**/drawings/", lambda route: route.abort())
    board.take("level")
    board.tap([0.5, 0.5])
    expect(page.locator("[data-draw-error]")).to_contain_text("Not saved")
    expect(board.ones).to_have_count(1)
    page.locator("[data-drawn-list] summary").click()
    expect(page.locator("[data-drawn-list] [data-state]")).to_have_text("not saved")
    assert not Drawing.objects.exists()
    shot(page, f"draw-unsaved-{page.viewport_size['width']}")
    page.unroute("**/drawings/")
    page.locator("[data-again]").click()
    board.saved(1)
    expect(page.locator("[data-drawn-list] [data-state]")).to_have_text("draft")
    board.said = [one for one in board.said if "ERR_FAILED" not in one]


def test_points_are_moved_and_rubbed_out(told_cast: Cast, boards: Any) -> None:
    clip = told_cast.clips["tomas"][1]
    row = drawn(told_cast, FRAME, until_frame=FRAME + 2)
    drawn(told_cast, FRAME, by=told_cast.tomas, kind="level", points=[[0.5, 0.8]])
    board = boards(told_cast.coach, clip).open()
    page = board.page
    board.take("move")
    expect(board.overlay.locator("[data-handle]")).to_have_count(3)
    board.drag(row.points[2], [0.4, 0.9])
    expect(board.overlay.locator(".drawn-label")).not_to_have_text("151°")
    wanted = [[0.2, 0.3], [0.4, 0.5], [0.4, 0.9]]
    board.until(lambda: close(Drawing.objects.get(pk=row.pk).points, wanted))
    board.overlay.locator("[data-handle]").first.focus()
    page.keyboard.press("Shift+ArrowDown")
    page.keyboard.press("Enter")
    wanted[0] = [0.2, 0.325]
    board.until(lambda: close(Drawing.objects.get(pk=row.pk).points, wanted))
    page.keyboard.press("Escape")
    expect(board.overlay.locator("[data-handle]")).to_have_count(0)
    page.locator('[data-do="on"]').click()
    board.at(FRAME + 1)
    expect(board.ones).to_have_count(1)  # the span goes on, the level does not
    page.locator("[data-drawn-list] summary").click()
    page.locator("[data-drawn-list] li", has_text="level").locator("a.jump-to").click()
    board.at(FRAME)
    assert page.locator("[data-drawn-list] form").count() == 1
    page.locator("[data-drawn-list] form button").click()
    board.saved(1)
    assert not Drawing.objects.filter(pk=row.pk).exists()
    assert AuditEntry.objects.filter(action="drawing-rubbed-out").count() == 1


def test_how_long_it_stands_is_changed_in_the_list_and_with_its_points_in_hand(
    told_cast: Cast, boards: Any, size: dict[str, int]
) -> None:
    clip = told_cast.clips["tomas"][1]
    row = drawn(told_cast, FRAME, until_frame=FRAME + 2)
    drawn(told_cast, FRAME, by=told_cast.tomas, kind="level", points=[[0.5, 0.8]])
    board = boards(told_cast.coach, clip).open()
    page = board.page

    def stands_s() -> float:
        now = Drawing.objects.get(pk=row.pk)
        return ((now.until_ticks or now.pts_ticks) - now.pts_ticks) / 90_000

    before_s = stands_s()
    page.locator("[data-drawn-list] summary").click()
    choice = page.locator("[data-drawn-list] [data-stands]")  # of one's own alone
    expect(choice.locator("option:checked")).to_have_text("3 frames")
    choice.focus()
    choice.select_option("1")
    board.until(lambda: abs(stands_s() - 1) < 0.05)
    expect(choice).to_be_focused()
    expect(choice.locator("option")).to_have_count(4)
    shot(page, f"drawn-stands-{size['width']}")
    assert fits(page) and violations(page) == []
    for n in range(5):
        page.locator('[data-do="on"]').click()
        board.at(FRAME + 1 + n)
    expect(board.ones).to_have_count(1)
    page.locator("[data-undo]").click()
    board.until(lambda: stands_s() == before_s)
    expect(board.ones).to_have_count(0)
    page.locator("[data-redo]").click()
    board.until(lambda: abs(stands_s() - 1) < 0.05)
    page.locator("[name=drawing-span]").select_option("2")  # of what is drawn next
    board.take("move")
    expect(board.overlay.locator("[data-handle]")).to_have_count(3)
    expect(page.locator("[name=drawing-span]")).to_have_value("1")
    expect(page.locator("[data-stands-of]")).to_have_text("joint, about 151° as seen")
    page.locator("[name=drawing-span]").select_option("0")
    board.until(lambda: stands_s() == 0)
    expect(board.overlay.locator("[data-handle]")).to_have_count(0)
    page.locator("[data-put-away]").click()
    expect(page.locator("[name=drawing-span]")).to_have_value("2")
    assert AuditEntry.objects.filter(action="drawing-stands").count() == 4
