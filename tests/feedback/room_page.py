"""Four views and the engine on a page of their own, on the live site's origin and under its
content security policy: so the engine is tested apart from the room that uses it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, BrowserContext, Page, Route

from clinics.management.demo import painted
from clinics.models import Clip
from portal.models import User
from tests.browser import signed_in
from tests.feedback.painted_room import Station4, for_engine
from tests.feedback.painted_swim import number_on

HERE = Path(__file__).parent
STYLE = """
body { margin: 0; display: grid; grid-template-columns: 640px 640px; gap: 4px }
.picture { width: 640px; height: 360px }
.picture > * { width: 100%; height: 100%; display: block }
"""
PICTURE = '<div class="picture"><video controls preload="none"></video></div>'
PAGE = f"""<!doctype html><html lang="en"><head><title>Four views</title>
<link rel="stylesheet" href="/four-views.css"></head><body>{PICTURE * 4}
<script type="module" src="/four-views.js"></script></body></html>"""


class RoomPage:
    """The page, with its four views; what a test asks of its engine."""

    def __init__(self, context: BrowserContext, clips: list[Clip], stations: list[Station4]):
        self.stations, self.clips = stations, clips
        self.keys = [str(clip.pk) for clip in clips]
        self.views = [for_engine(*pair) for pair in zip(clips, stations, strict=True)]
        self.context = context
        self.page: Page = context.new_page()
        self.server = ""
        self.said: list[str] = []
        self.page.on("console", lambda m: self.said.append(m.text) if m.type in BAD else None)
        self.page.on("pageerror", lambda error: self.said.append(str(error)))

    def open(
        self,
        server: str,
        *,
        kind: str | None = None,
        expect: str | None = None,
        first: str = "",
        views: Callable[[list[dict[str, Any]]], None] = lambda views: None,
    ) -> RoomPage:
        """`first`: script that runs before the page's; `views` may change what the page is told;
        `expect`: which engine it must be, if not the one asked for."""
        self.server = server
        policy = self.context.request.get(server + "/").headers["content-security-policy"]
        for path, body, content_type in (
            ("/four-views/", PAGE, "text/html"),
            ("/four-views.css", STYLE, "text/css"),
            ("/four-views.js", (HERE / "room_page.js").read_text(), "text/javascript"),
        ):
            self.page.route(server + path, _sends(body, content_type, policy))
        if first:
            self.page.add_init_script(first)
        views(self.views)
        self.page.goto(server + "/four-views/")
        self.page.wait_for_function("() => window.harnessReady")
        made = self.page.evaluate(
            "([views, options]) => openRoom(views, options)",
            [self.views, {"kind": kind} if kind else {}],
        )
        assert made == (expect or kind or "frames")
        return self

    def do(self, script: str, arg: Any = None) -> Any:
        """Runs `script`, in which `engine` is the engine; waits for what it promises."""
        return self.page.evaluate(f"async arg => {{ {script} }}", arg)

    def until(self, condition: str, patience_ms: int = 15_000) -> None:
        self.do(
            f"""
            const begun_ms = performance.now();
            while (!({condition})) {{
              if (performance.now() - begun_ms > arg) throw new Error("not within the time");
              await new Promise(requestAnimationFrame);
            }}
            """,
            patience_ms,
        )

    def show_all(self, height_px: int = 360) -> None:
        self.do("await engine.setShown(keys, { height_px: arg })", height_px)

    def seek(self, at_s: float) -> None:
        self.do("await engine.seek(arg)", at_s)

    def shown(self) -> list[int | None]:
        """The clips' frames whose painted numbers are on the surfaces."""
        return self.frames_of(self.do("return numbers()"))

    def frames_of(self, numbers: list[int | None]) -> list[int | None]:
        pairs = zip(self.stations, numbers, strict=True)
        return [station.frame_of(number) for station, number in pairs]

    def on_screen(self) -> list[int | None]:
        """The same, from screenshots: the outside witness."""
        shots = [one.screenshot() for one in self.page.locator("[data-surface]").all()]
        return self.frames_of([number_on(shot) for shot in shots])

    def told(self) -> list[int | None]:
        """What the engine says it shows."""
        return self.do("const { frames } = engine.state(); return keys.map(key => frames[key])")

    def right(self, at_s: float) -> list[int | None]:
        """What is right at an instant."""
        return [station.true_frame(at_s) for station in self.stations]

    def close(self) -> None:
        self.context.close()
        assert self.said == [], self.said


BAD = {"error", "warning"}
assert painted.CELLS == 40  # as in room_page.js


def _sends(body: str, content_type: str, policy: str) -> Any:
    headers = {"content-type": content_type, "content-security-policy": policy}

    def send(route: Route) -> None:
        route.fulfill(body=body, headers=headers)

    return send


def open_room(
    browser: Browser,
    server: str,
    user: User,
    clips: list[Clip],
    stations: list[Station4],
    **how: Any,
) -> RoomPage:
    context = signed_in(browser, user, server, viewport={"width": 1284, "height": 724})
    return RoomPage(context, clips, stations).open(server, **how)
