"""A phone at the pool's edge, in Chromium, and a network between it and the site that can fail in
more ways than being off."""

from __future__ import annotations

import contextlib
import datetime as dt
import socket
import threading
from collections.abc import Iterator
from typing import Any
from urllib.parse import urlsplit

from django.utils import timezone
from playwright.sync_api import Browser, BrowserContext, Page, expect

from clinics.models import Clinic, StartLogEntry
from portal.models import User
from tests.browser import signed_in
from tests.cast import make_entry

SIZE = {"width": 360, "height": 740}
DB = "sidelane-pool"
# The instant of each pressing of AWAY by the time of day, which phone and server share here.
WITNESS = """
window.taps = [];
addEventListener("pointerdown", (event) => {
  const away = event.target.closest?.("[data-away]");
  if (!away || away.disabled) return;
  const number = Number(document.querySelector("[data-number]").textContent);
  window.taps.push([number, Date.now() - (performance.now() - event.timeStamp)]);
}, true);
"""
ALL_ITEMS = """async (name) => {
  const db = await new Promise((resolve, reject) => {
    const asked = indexedDB.open(name);
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
  const read = (store) => new Promise((resolve) => {
    const asked = db.transaction(store).objectStore(store).getAll();
    asked.onsuccess = () => resolve(asked.result);
  });
  const kept = {};
  for (const store of ["items", "clinics", "phone"]) kept[store] = await read(store);
  db.close();
  return kept;
}"""
ALL_CACHED = """async () => {
  const found = {};
  for (const name of await caches.keys()) {
    const requests = await (await caches.open(name)).keys();
    found[name] = requests.map((request) => new URL(request.url).pathname);
  }
  return found;
}"""


class Phone:
    """One browser of one person; `taps` are what the witness saw: (number, ms since 1970)."""

    def __init__(self, browser: Browser, person: User, url: str, **options: Any) -> None:
        self.context: BrowserContext = signed_in(
            browser, person, url, viewport=SIZE, locale="en-GB", **options
        )
        self.context.add_init_script(WITNESS)
        self.said: list[str] = []
        self.taps: list[tuple[int, float]] = []
        self.page: Page = self._new_page()

    def _new_page(self) -> Page:
        page = self.context.new_page()
        page.on("pageerror", lambda error: self.said.append(str(error)))
        page.on(
            "console",
            lambda m: self.said.append(m.text) if "Content Security Policy" in m.text else None,
        )
        return page

    def open(self, path: str, *, ready: bool = True) -> Page:
        """A new page, as after closing the one before; a new run of its clock."""
        self.close_page()
        self.page = self._new_page()
        self.page.goto(path)
        if ready:
            expect(self.page.locator("[data-ready=ready]").first).to_be_attached(timeout=60_000)
        return self.page

    def close_page(self) -> None:
        if self.page.is_closed():
            return
        self.taps += [tuple(tap) for tap in self.page.evaluate("window.taps ?? []")]
        self.page.close()

    def away(self, number: int | None = None) -> None:
        """Lane clear and underwater seen, then AWAY; returns when it is on the phone's disk."""
        page = self.page
        if number is not None:
            page.locator("summary", has_text="Another swimmer").click()
            page.locator(f"[data-others] [data-choose='{number}']").click()
        lines = page.locator("[data-lines] > li")
        before = lines.first.get_attribute("data-client-id") if lines.count() else None
        page.locator("[data-arm]").click()
        page.locator("[data-away]").click()
        page.wait_for_function(
            "(id) => document.querySelector('[data-lines] > li')?.dataset.clientId"
            " && document.querySelector('[data-lines] > li').dataset.clientId !== id",
            arg=before,
        )

    def kept(self) -> dict[str, Any]:
        return self.page.evaluate(ALL_ITEMS, DB)

    def unsent(self, kind: str = "line") -> list[dict[str, Any]]:
        items = self.kept()["items"]
        return [one for one in items if one["kind"] == kind and one["state"] == "waiting"]

    def cached(self) -> dict[str, list[str]]:
        return self.page.evaluate(ALL_CACHED)

    def close(self) -> None:
        self.context.close()
        assert self.said == []


class Gate:
    """A way to the site that can be open, refuse every connection, or swallow them."""

    def __init__(self, upstream: str) -> None:
        told = urlsplit(upstream)
        self.upstream = (told.hostname, told.port)
        self.mode = "open"
        self.open_ones: set[socket.socket] = set()
        self.server = socket.create_server(("127.0.0.1", 0))
        self.url = f"http://localhost:{self.server.getsockname()[1]}"
        threading.Thread(target=self._accept, daemon=True).start()

    def set(self, mode: str) -> None:
        self.mode = mode
        if mode != "open":
            for one in list(self.open_ones):
                with contextlib.suppress(OSError):
                    one.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        self.set("refuse")
        self.server.close()

    def _accept(self) -> None:
        while True:
            try:
                near, _address = self.server.accept()
            except OSError:
                return
            if self.mode == "refuse":
                near.close()
                continue
            self.open_ones.add(near)
            if self.mode == "swallow":
                continue
            far = socket.create_connection(self.upstream)
            self.open_ones.add(far)
            for one, other in ((near, far), (far, near)):
                threading.Thread(target=self._pass, args=(one, other), daemon=True).start()

    def _pass(self, one: socket.socket, other: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while part := one.recv(65536):
                other.sendall(part)
        for end in (one, other):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
            end.close()
            self.open_ones.discard(end)


@contextlib.contextmanager
def gate_to(url: str) -> Iterator[Gate]:
    gate = Gate(url)
    try:
        yield gate
    finally:
        gate.close()


def ready_clinic(clinic: Clinic, numbers: range) -> str:
    """Today's, with these numbers still to come; the path of its start log."""
    Clinic.objects.filter(pk=clinic.pk).update(date=timezone.localdate())
    for number in numbers:
        make_entry(clinic, f"Swimmer {number}", number, None, "")
    for entry in clinic.entries.filter(number__lt=10):
        StartLogEntry.objects.create(
            clinic=clinic,
            client_id=f"earlier-{entry.number}",
            entry=entry,
            instant=timezone.now() - dt.timedelta(hours=1),
            outcome="no-show",
        )
    return f"/clinics/{clinic.pk}/starts/"
