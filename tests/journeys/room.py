"""The room of a swim as a person uses it, and what the console said meanwhile."""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.urls import reverse
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, Page

from clinics.models import Clip
from portal.models import User
from tests.browser import shot, signed_in
from tests.feedback.painted_swim import number_on

WIDE, PHONE = {"width": 1280, "height": 1000}, {"width": 360, "height": 740}
BAD = {"error", "warning"}
FETCH_AT_ONCE = "localStorage.setItem('sidelane-room-save-data', 'off')"
# Where the picture lies in its box: it keeps its shape and stands in the middle.
CONTENT_BOX = """picture => {
  const surface = picture.querySelector("[data-surface], video");
  const [w, h] = [surface.width || surface.videoWidth, surface.height || surface.videoHeight];
  if (!w || !h) return { width: 0 }; // nothing is painted
  const box = picture.getBoundingClientRect();
  const scale = Math.min(box.width / w, box.height / h);
  return {
    x: box.x + (box.width - w * scale) / 2, y: box.y + (box.height - h * scale) / 2,
    width: w * scale, height: h * scale,
  };
}"""

PAINTED = """() => {
  const room = document.querySelector("[data-room]");
  const main = room.querySelector(`figure[data-view="${room.dataset.view}"]`);
  const surface = main.querySelector("[data-surface], video");
  return room.dataset.frame && (surface.width || surface.videoWidth);
}"""


class Room:
    def __init__(self, page: Page, server: str) -> None:
        self.page, self.server = page, server
        self.said: list[str] = []
        page.on(
            "console",
            lambda m: self.said.append(f"{m.text} {m.location}") if m.type in BAD else None,
        )
        page.on("pageerror", lambda error: self.said.append(str(error)))

    def open(self, clip: Clip, query: str = "") -> Room:
        self.page.goto(self.server + reverse("feedback:swim", args=[clip.swim_id]) + query)
        self.page.wait_for_selector("[data-room][data-ready]")
        return self

    def told(self, name: str) -> str:
        return self.page.locator("[data-room]").get_attribute(f"data-{name}") or ""

    @property
    def frame(self) -> int:
        """Of the main view; a view that was just put on stage may still be fetched."""
        self.page.wait_for_selector('[data-room][data-frame]:not([data-frame=""])')
        return int(self.told("frame"))

    @property
    def view(self) -> str:
        return self.told("view")

    @property
    def at_s(self) -> float:
        return float(self.told("at"))

    def shown(self) -> list[str]:
        """The views on stage, the main one first."""
        figures = (
            "all => all.sort((a, b) => a.style.order - b.style.order).map(f => f.dataset.view)"
        )
        return self.page.locator("figure.view.shown").evaluate_all(figures)

    def press(self, *keys: str) -> None:
        for key in keys:
            self.page.keyboard.press(key)

    def wait_for(self, clip: Clip, frame: int) -> None:
        self.page.wait_for_selector(f'[data-room][data-view="{clip.pk}"][data-frame="{frame}"]')

    def wait_for_view(self, clip: Clip) -> None:
        self.page.wait_for_selector(f'[data-room][data-view="{clip.pk}"]')

    def number(self, view: str | None = None) -> int | None:
        """The number painted on what the screen shows of a view (else of the main one)."""
        picture = self.page.locator(f'figure[data-view="{view or self.view}"] [data-picture]')
        picture.scroll_into_view_if_needed()
        if view is None:  # the main one may still be fetched
            self.page.wait_for_function(PAINTED)
            picture = self.page.locator(f'figure[data-view="{self.view}"] [data-picture]')
        box = picture.evaluate(CONTENT_BOX)
        if not box["width"]:
            return None
        whole = Image.open(io.BytesIO(self.page.screenshot()))
        left, top = box["x"], box["y"]
        cut = whole.crop((left, top, left + box["width"], top + box["height"]))
        written = io.BytesIO()
        cut.save(written, "PNG")
        return number_on(written.getvalue())

    def shoot(self, name: str) -> None:
        shot(self.page, name)


@contextmanager
def rooms_of(browser: Browser, server: str, size: dict[str, int]) -> Iterator[Any]:
    """Opens a browser for a person; at the end none of them may have complained.

    `saving`: as a phone does, films are fetched only when asked for.
    """
    opened: list[tuple[Room, BrowserContext]] = []

    def room_of(user: User, *, saving: bool = False, **options: Any) -> Room:
        touch = {"has_touch": True} if size is PHONE else {}
        context = signed_in(browser, user, server, viewport=size, **touch, **options)
        context.set_default_timeout(30_000)
        if not saving:
            context.add_init_script(FETCH_AT_ONCE)
        room = Room(context.new_page(), server)
        opened.append((room, context))
        return room

    yield room_of
    for room, context in opened:
        context.close()
        assert room.said == []
