"""The page of two swims as a person uses it, and the films whose pictures are known on it."""

from __future__ import annotations

import io
from dataclasses import dataclass

from django.urls import reverse
from PIL import Image
from playwright.sync_api import Locator, Page

from clinics.models import Clip, Swim
from tests.cast import Cast
from tests.feedback.painted_room import Station4
from tests.feedback.painted_swim import number_on
from tests.feedback.two_swims import marked
from tests.journeys.room import CONTENT_BOX

THEN_FRAME, NOW_FRAME = 31, 100  # the breakout, on each swim's film
WITHIN_S = 1e-4  # `data-at` is written so fine


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
        """What is painted on the two pictures, as frames of their clips; waited for, since a busy
        machine may still be painting."""
        read = []
        for n, film in enumerate(self.two.films):
            surface = self.page.locator(f'[data-side="{n}"] .one:not([hidden]) .picture > *').first
            surface.scroll_into_view_if_needed()
            for _ in range(30):
                frame = film.frame_of(self._number_in(surface.locator("..")))
                if frame is not None:
                    break
                self.page.wait_for_timeout(100)
            assert frame is not None, f"no number of this film on picture {n}"
            read.append(frame)
        return read

    def _number_in(self, picture: Locator) -> int | None:
        box = picture.evaluate(CONTENT_BOX)
        whole, written = Image.open(io.BytesIO(self.page.screenshot())), io.BytesIO()
        left, top = box["x"], box["y"]
        whole.crop((left, top, left + box["width"], top + box["height"])).save(written, "PNG")
        return number_on(written.getvalue())

    def wait_for(self, n: int, frame: int) -> None:
        self.page.wait_for_selector(f'[data-side="{n}"][data-frame="{frame}"]')


def mark_both(two: Two) -> None:
    for clip, frame in zip(two.clips, (THEN_FRAME, NOW_FRAME), strict=True):
        marked(two.cast, clip, frame)


def pinch(page: Page, picture: Locator, spread_px: int) -> None:
    """Two fingers in the middle of a picture, drawn apart to `spread_px`."""
    picture.evaluate("one => one.scrollIntoView({ block: 'center' })")  # not under the keys
    box = picture.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    session = page.context.new_cdp_session(page)
    for kind, apart in (
        ("touchStart", 30),
        *(("touchMove", 30 + spread_px * n / 5) for n in range(6)),
    ):
        points = [{"x": x - apart / 2, "y": y, "id": 0}, {"x": x + apart / 2, "y": y, "id": 1}]
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    session.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})


def scales(page: Page) -> list[float]:
    """How large each picture on stage is drawn."""
    return page.locator(".one:not([hidden]) [data-picture]").evaluate_all(
        "all => all.map(one => new DOMMatrix(getComputedStyle(one).transform).a)"
    )


def tools(page: Page) -> None:
    more = page.get_by_role("button", name="More", exact=True)
    if more.is_visible() and more.get_attribute("aria-expanded") == "false":
        more.click()


def swipe(page: Page, picture: Locator, dx_px: int) -> None:
    """One finger along the picture."""
    box = picture.bounding_box()
    x, y = box["x"] + box["width"] / 2 - dx_px / 2, box["y"] + box["height"] / 3
    session = page.context.new_cdp_session(page)
    for kind, dx in (("touchStart", 0.0), *(("touchMove", dx_px * n / 4) for n in range(1, 5))):
        points = [{"x": x + dx, "y": y}]
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    session.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
