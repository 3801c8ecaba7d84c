"""A real browser for the tests that need one, and what they ask of every page.

axe-core is the outside witness for access.
"""

from __future__ import annotations

import contextlib
import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from axe_playwright_python.sync_playwright import Axe
from django.test import Client
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from portal.models import User
from tests.cast import sign_in

CHROMIUM = shutil.which("chromium-headless-shell") or "/usr/bin/chromium"
"""Chromium without its own windows: the pages are the same, a test takes a quarter less time."""
SHOTS = os.environ.get("SIDELANE_SHOTS")  # a folder: keep screenshots to look at


@contextlib.contextmanager
def chromium() -> Iterator[Browser]:
    """Playwright runs a loop in this thread, in which Django would refuse its database."""
    os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=CHROMIUM,
            args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
        )
        yield browser
        browser.close()


def signed_in(browser: Browser, user: User, url: str, **options: Any) -> BrowserContext:
    """A person's own browser on the site at `url`."""
    context = browser.new_context(base_url=url, **options)
    context.set_default_timeout(15_000)
    cookie = sign_in(Client(), user).cookies["session"]
    context.add_cookies([{"name": "session", "value": cookie.value, "url": url}])
    return context


@contextlib.contextmanager
def opener(browser: Browser, url: str, viewport: dict[str, int]) -> Iterator[Callable[..., Page]]:
    """`open(path, person, size, **options)` opens a page in a person's own browser. In the end no
    script has failed, and nothing has gone against the content security policy."""
    contexts: list[BrowserContext] = []
    said: list[str] = []

    def hear(message: Any) -> None:
        if "Content Security Policy" in message.text:
            said.append(message.text)

    def opened(path: str, person: User, size: dict[str, int] = viewport, **options: Any) -> Page:
        options = {"viewport": size, "locale": "en-GB", **options}
        context = signed_in(browser, person, url, **options)
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: said.append(str(error)))
        page.on("console", hear)
        page.goto(path)
        return page

    yield opened
    for context in contexts:
        context.close()
    assert said == []


def module_asker(page: Page, url: str, folder: str) -> Callable[..., Any]:
    """Of the site's static `folder`: `ask(module, script, arg)` evaluates a script in the browser
    with the module's exports as `m` and `arg`."""
    page.goto(url + "/notice/")

    def ask(module: str, script: str, arg: Any = None) -> Any:
        return page.evaluate(
            f"""async arg => {{
              const m = await import("/static/{folder}/{module}.js");
              return ({script});
            }}""",
            arg,
        )

    return ask


def fits(page: Page) -> bool:
    """Nothing scrolls sideways."""
    return page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def violations(page: Page) -> list[str]:
    return [found["id"] for found in Axe().run(page).response["violations"]]


def shot(page: Page, name: str) -> None:
    if SHOTS:
        page.screenshot(path=str(Path(SHOTS) / f"{name}.png"), full_page=True)
