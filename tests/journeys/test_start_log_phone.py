"""What a phone shows and does beside the log itself: two phones' clocks compared through their
cameras, a browser that keeps nothing, a new release, and consent at the pool without a network."""

from __future__ import annotations

import contextlib
import os
import re
import signal
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import segno
import zxingcpp
from django.test import Client
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, expect

from clinics.compute.phone_clock.twins import format_code, parse_code
from clinics.models import ClockScan, Consent, StartLogEntry, Swim
from tests.browser import fits, shot, violations
from tests.cast import Cast, sign_in
from tests.clinics.consent_tools import FILM, in_force, newcomer, with_texts
from tests.clinics.test_log_browser import faint_texts, small_targets
from tests.journeys.pool_phone import SIZE, Gate, Phone, gate_to, ready_clinic

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]
OTHER = format_code("8f14-e45f-the-other-phone", 73512.3)


@pytest.fixture(autouse=True)
def one_factor(settings: Any) -> None:
    settings.SECOND_FACTOR_REQUIRED = False


@pytest.fixture
def gate(live_server: Any) -> Iterator[Gate]:
    with gate_to(live_server.url) as opened:
        yield opened


@pytest.fixture
def one(browser: Browser, cast: Cast, gate: Gate) -> Iterator[Phone]:
    phone = Phone(browser, cast.crew, gate.url)
    yield phone
    phone.close()


def film_of(text: str, path: Path) -> None:
    """A second of the code of another phone, as a camera sees it: turned, grey, not to its edge."""
    code = segno.make(text, error="l", micro=False)
    dots = np.array([[0 if dark else 255 for dark in row] for row in code.matrix_iter(border=4)])
    big = Image.fromarray(dots.astype(np.uint8)).resize((300, 300), Image.Resampling.NEAREST)
    sight = Image.new("L", (640, 480), 90)
    sight.paste(big, (170, 80))
    turned = sight.rotate(6, resample=Image.Resampling.BICUBIC, fillcolor=90)
    luma = np.asarray(turned, dtype=np.uint8)
    chroma = np.full((2, 240, 320), 128, dtype=np.uint8)
    with path.open("wb") as file:
        file.write(b"YUV4MPEG2 W640 H480 F10:1 Ip A1:1 C420jpeg\n")
        for _ in range(10):
            file.write(b"FRAME\n" + luma.tobytes() + chroma.tobytes())


def test_two_phones_read_each_others_clock(
    cast: Cast, browser: Browser, live_server: Any, tmp_path: Path
) -> None:
    film_of(OTHER, tmp_path / "sight.y4m")
    log = ready_clinic(cast.clinic, range(21, 23))
    with_camera = browser.browser_type.launch(
        executable_path="/usr/bin/chromium",
        args=[
            "--no-sandbox",
            "--disable-gpu",
            "--use-fake-ui-for-media-stream",
            "--use-fake-device-for-media-stream",
            f"--use-file-for-fake-video-capture={tmp_path / 'sight.y4m'}",
        ],
    )
    phone = Phone(with_camera, cast.crew, live_server.url)
    page = phone.open(log)
    phone.context.set_offline(True)
    page.locator("summary", has_text="This phone").click()
    page.get_by_role("button", name="Show my code").click()
    canvas = page.locator("[data-twin-code]")
    canvas.screenshot(path=str(tmp_path / "code.png"))
    (read,) = zxingcpp.read_barcodes(Image.open(tmp_path / "code.png"))
    run, shown_ms = parse_code(read.text)
    assert 0 <= page.evaluate("performance.now()") - shown_ms < 20_000

    page.get_by_role("button", name="Read the other's code").click()
    words = page.locator("[data-twin-words]")
    expect(words).to_contain_text(
        "Read so far: 1. Now let the other phone read yours.", timeout=30_000
    )
    assert fits(page) and violations(page) == [] and faint_texts(page) == []
    shot(page, "start-log-twins-360")
    (scan,) = phone.unsent("scan")
    assert scan["body"]["shown_ms"] == 73512.3 and scan["body"]["read_run"] == run
    phone.context.set_offline(False)
    expect(page.locator("[data-clock-words]")).to_contain_text("within", timeout=60_000)
    page.wait_for_timeout(1000)
    kept = ClockScan.objects.get()
    assert (kept.shown_run, kept.read_run) == ("8f14-e45f-the-other-phone", run)
    assert phone.unsent("scan") == []
    phone.close()
    with_camera.close()


def test_without_a_camera_the_other_phone_can_read(cast: Cast, one: Phone) -> None:
    page = one.open(ready_clinic(cast.clinic, range(21, 23)))
    page.locator("summary", has_text="This phone").click()
    page.get_by_role("button", name="Read the other's code").click()
    expect(page.locator("[data-twin-words]")).to_contain_text("The camera cannot be used")
    assert small_targets(page) == [] and violations(page) == []


def test_a_browser_that_keeps_nothing_says_so_and_still_sends(
    cast: Cast, one: Phone, gate: Gate
) -> None:
    log = ready_clinic(cast.clinic, range(21, 24))
    one.context.add_init_script("IDBFactory.prototype.open = () => { throw new Error('none'); };")
    page = one.open(log, ready=False)
    expect(page.locator("[data-stations-sum]")).to_contain_text("of 2")
    expect(page.locator("[data-ready-words]")).to_contain_text("This browser keeps nothing")
    gate.set("refuse")
    one.away()
    expect(page.locator("[data-unkept]")).to_contain_text(
        re.compile(r"write down on paper: 21 Swimmer 21, away, \d\d:\d\d:\d\d\.\d")
    )
    assert fits(page) and faint_texts(page) == [] and violations(page) == []
    gate.set("open")
    expect(page.locator("[data-unkept]")).to_be_hidden(timeout=60_000)
    assert StartLogEntry.objects.get(entry__number=21).outcome == "away"


def kill_those_of(folder: Path) -> None:
    """As a battery that is empty: every process of this profile's browser, at once."""
    for path in Path("/proc").glob("[0-9]*/cmdline"):
        with contextlib.suppress(OSError):
            if str(folder) in path.read_text(errors="replace"):
                os.kill(int(path.parent.name), signal.SIGKILL)


def test_a_phone_that_dies_right_after_the_tap_has_kept_it(
    cast: Cast, browser: Browser, gate: Gate, tmp_path: Path
) -> None:
    log = ready_clinic(cast.clinic, range(21, 24))
    (cookie,) = sign_in(Client(), cast.crew).cookies.values()

    def switched_on() -> BrowserContext:
        context = browser.browser_type.launch_persistent_context(
            tmp_path / "profile",
            executable_path="/usr/bin/chromium",
            args=["--no-sandbox", "--disable-gpu"],
            base_url=gate.url,
            viewport=SIZE,
            locale="en-GB",
        )
        context.add_cookies([{"name": "session", "value": cookie.value, "url": gate.url}])
        return context

    page = switched_on().new_page()
    page.goto(log)
    expect(page.locator("[data-ready=ready]").first).to_be_attached(timeout=60_000)
    gate.set("refuse")
    page.get_by_role("button", name="I have seen both").click()
    page.locator("[data-away]").click()
    line = page.locator("[data-lines] > li").first
    expect(line).to_contain_text("21 Swimmer 21")
    client_id = line.get_attribute("data-client-id")
    kill_those_of(tmp_path / "profile")

    context = switched_on()
    page = context.new_page()
    page.goto(log)
    expect(page.locator("[data-net]")).to_contain_text("1 to send, kept on this phone")
    expect(page.locator("[data-number]")).to_have_text("22")
    gate.set("open")
    expect(page.locator("[data-net]")).to_have_text("All is sent.", timeout=60_000)
    context.close()
    assert Swim.objects.get(entry__number=21).log_entry.client_id == client_id


def test_a_new_release_is_taken_anew_and_the_old_one_goes(
    cast: Cast, one: Phone, monkeypatch: pytest.MonkeyPatch
) -> None:
    log = ready_clinic(cast.clinic, range(21, 23))
    one.open(log)
    (before,) = one.cached()
    monkeypatch.setattr("clinics.views.offline.release", lambda: "0123456789abcdef")
    one.open(log)
    new = f"sidelane-shell {log} 0123456789abcdef"
    for _ in range(60):
        if list(one.cached()) == [new]:
            break
        one.page.wait_for_timeout(500)
    assert list(one.cached()) == [new] and before != new
    assert f"{log}shell/" in one.cached()[new]


def test_consent_at_the_pool_opens_without_a_network(cast: Cast, one: Phone, gate: Gate) -> None:
    bela = newcomer(with_texts(cast))
    log = ready_clinic(cast.clinic, range(21, 23))
    pool = f"/clinics/{cast.clinic.pk}/consent/pool/"
    one.open(log)
    page = one.open(pool)
    assert small_targets(page) == [] and faint_texts(page) == [] and violations(page) == []
    gate.set("refuse")
    one.context.set_offline(True)
    page = one.open(pool)
    expect(page.locator("[data-as-of]")).to_contain_text("As of")
    assert fits(page) and violations(page) == [] and faint_texts(page) == []
    shot(page, "consent-pool-offline-360")
    page.locator("[data-waiting] li", has_text=bela.name).get_by_role("link").click()
    assert small_targets(page) == [] and faint_texts(page) == []
    page.locator(f"input[name={FILM}]").check()
    page.get_by_role("button", name="Send my answer").click()
    expect(page.locator("[data-refused]")).to_contain_text("18 or older")
    page.get_by_label("18 or older").check()
    page.get_by_role("button", name="Send my answer").click()
    expect(page.locator("[data-thanks]")).to_contain_text(f"Thank you, {bela.name}")
    expect(page.locator("[data-net]")).to_contain_text("1 to send, kept on this phone")
    kept = one.unsent("answer")
    assert len(kept) == 1 and bela.name not in str(kept)  # a number and the choices

    # The log of the same phone knows of it at once.
    page = one.open(f"{log}?number=9")
    expect(page.locator("[data-name]")).to_have_text(bela.name)
    expect(page.locator("[data-agrees]")).to_contain_text("answered on this phone at")

    page = one.open(pool)
    assert in_force(bela) == set()
    gate.set("open")
    one.context.set_offline(False)
    expect(page.locator("[data-net]")).to_contain_text("All answers are sent", timeout=60_000)
    assert in_force(bela) == {FILM}
    assert Consent.objects.get(swimmer=bela, purpose=FILM).method == Consent.Method.POOL
    assert one.unsent("answer") == []


def test_the_log_reads_well_at_a_desk_too(cast: Cast, one: Phone) -> None:
    page = one.open(ready_clinic(cast.clinic, range(21, 40)))
    page.set_viewport_size({"width": 1280, "height": 900})
    for part in page.locator("details.part").all():
        part.locator("summary").click()
    assert fits(page) and violations(page) == [] and faint_texts(page) == []
    shot(page, "start-log-1280")
    page.set_viewport_size(SIZE)
    assert fits(page) and small_targets(page) == []
