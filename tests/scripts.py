"""The pages' scripts by themselves, in the browser that runs them: no site, and answers that come
when a test lets them.

`run(page, script)` evaluates a script in which `load("clinics/kit.js")` imports a module, and in
which `fetch` waits: `asked` are the questions under way, oldest first, each with `url`, `method`,
`body` (a FormData as pairs), `answer(body, status)` and `fail()`.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.conf import settings
from playwright.sync_api import Browser, Page

SITE = "http://scripts.localhost"  # a secure context, as the portal is
ROOTS = [Path(settings.BASE_DIR) / f"{name}/static" for name in ("portal", "clinics", "feedback")]
TYPES = {".js": "text/javascript", ".css": "text/css"}

PRELUDE = """
  const load = (name) => import("/" + name);
  const settle = (ms = 5) => new Promise((go) => setTimeout(go, ms));
  const until = async (is) => {
    for (let n = 0; n < 1000 && !is(); n += 1) await settle();
    return is();
  };
  const asked = [];
  const find = (selector) => document.querySelector(selector);
  window.fetch = (url, options = {}) => new Promise((good, bad) => {
    const address = new URL(url.url ?? url, location.href);
    const { body } = options;
    const one = {
      url: address.href, path: address.pathname + address.search, method: options.method ?? "GET",
      body: body instanceof FormData || body instanceof URLSearchParams ? [...body] : body,
      async answer(told = {}, status = 200) {
        asked.splice(asked.indexOf(one), 1);
        const page = typeof told === "string";
        const answer = new Response(page ? told : JSON.stringify(told), {
          status, headers: { "Content-Type": page ? "text/html" : "application/json" } });
        Object.defineProperty(answer, "url", { value: address.href });
        good(answer);
        await settle();
      },
      async fail() {
        asked.splice(asked.indexOf(one), 1);
        bad(new TypeError("no network"));
        await settle();
      },
    };
    options.signal?.addEventListener("abort", () => bad(options.signal.reason));
    asked.push(one);
  });
"""


@contextlib.contextmanager
def scripts_page(browser: Browser, site: str = SITE) -> Iterator[Page]:
    """A page with nothing on it. In the end no script has failed."""
    context = browser.new_context(locale="en-GB")
    page = context.new_page()
    failed: list[str] = []

    def serve(route: Any) -> None:
        name = route.request.url.removeprefix(site + "/").split("?")[0]
        file = next((root / name for root in ROOTS if name and (root / name).is_file()), None)
        if file is None:
            blank = "<!doctype html><html lang=en><title>-</title><body></body></html>"
            return route.fulfill(body=blank, content_type="text/html")
        return route.fulfill(path=file, content_type=TYPES.get(file.suffix, "image/svg+xml"))

    page.on("pageerror", lambda error: failed.append(str(error)))
    context.route(site + "/**", serve)
    page.goto(site + "/")
    yield page
    context.close()
    assert failed == []


def run(page: Page, script: str, arg: Any = None) -> Any:
    return page.evaluate(f"async (arg) => {{ {PRELUDE} {script} }}", arg)
