"""The slate's page on a phone whose clock is wrong, in a real browser. What it shows is read off
its screen by another program than the one that drew it (zxing-cpp), and its tone off the audio
graph that it is played by."""

from __future__ import annotations

import io
import re
import time
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, Route, expect

from clinics.compute.slate import PERIOD_MS, SlateCode, clinic_code_of, parse_code
from clinics.compute.slate_tones import find_tones
from clinics.media.slate import read_code
from tests.browser import fits, shot, signed_in, violations
from tests.cast import Cast

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]
PHONE, SCREEN = {"width": 360, "height": 740}, {"width": 1280, "height": 900}
AHEAD_MS = 1240
FAST_PHONE = f"""(() => {{
    const real = Date.now.bind(Date);
    Date.now = () => real() + {AHEAD_MS};
}})()"""
WRITE_DOWN_SOUND = """(() => {
    window.starts = [];
    const start = AudioBufferSourceNode.prototype.start;
    AudioBufferSourceNode.prototype.start = function (when) {
        const lateMs = 1000 * (this.context.outputLatency || this.context.baseLatency || 0);
        const inMs = 1000 * (when - this.context.currentTime) + lateMs;
        window.starts.push(performance.timeOrigin + performance.now() + inMs);
        window.toneSamples = Array.from(this.buffer.getChannelData(0));
        window.toneRate = this.context.sampleRate;
        start.call(this, when);
    };
})()"""


@pytest.fixture
def open_page(browser: Browser, live_server: Any, settings: Any, cast: Cast) -> Iterator[Any]:
    settings.SECOND_FACTOR_REQUIRED = False
    contexts, said = [], []

    def opened(size: dict[str, int] = PHONE, script: str = "", path: str = "slate/") -> Page:
        context = signed_in(browser, cast.crew, live_server.url, viewport=size, locale="en-GB")
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: said.append(str(error)))
        page.on("console", lambda m: said.append(m.text) if "Content Sec" in m.text else None)
        if script:
            page.add_init_script(script)
        page.goto(f"/clinics/{cast.clinic.pk}/{path}")
        return page

    yield opened
    for context in contexts:
        context.close()
    assert said == []


def read_screen(page: Page) -> tuple[SlateCode | None, float, float]:
    """The code on the screen, and the server's clock (this machine's) before and after."""
    before_ms = 1000 * time.time()
    png = page.screenshot()
    after_ms = 1000 * time.time()
    luma = np.asarray(Image.open(io.BytesIO(png)).convert("L"))
    return read_code(luma, parse_code), before_ms, after_ms


def start(page: Page) -> None:
    page.get_by_role("button", name="Show the clock").click()
    page.wait_for_function(
        """() => { const c = document.querySelector("[data-code]");
            return [...c.getContext("2d").getImageData(0, 0, c.width, c.height).data]
                .some((v) => v === 0); }"""
    )


def test_a_phone_that_is_ahead_shows_the_server_s_clock(cast: Cast, open_page: Any) -> None:
    page = open_page(script=FAST_PHONE)
    measured = page.locator("[data-measured]")
    expect(measured).to_contain_text("s ahead; measured within")
    ahead_s, within_ms = re.findall(r"[\d.]+", measured.inner_text())[:2]
    assert abs(1000 * float(ahead_s) - AHEAD_MS) <= float(within_ms) + 5
    assert fits(page) and violations(page) == []
    shot(page, "slate-360")
    start(page)
    seen = [read_screen(page) for _ in range(12)]
    told = [code for code, _, _ in seen if code is not None]
    assert len(told) >= 10 and {code.clinic for code in told} == {clinic_code_of(cast.clinic.pk)}
    assert len({code.instant_ms for code in told}) >= 3
    for code, before_ms, after_ms in seen:
        if code is not None:  # due at some instant while the picture of the screen was taken
            slack_ms = code.u_ms + 2 * 17
            assert code.instant_ms < after_ms + slack_ms
            assert code.end_ms > before_ms - slack_ms
            assert code.u_ms <= 60
    assert fits(page) and violations(page) == []
    side = page.locator("[data-code]").bounding_box()
    assert side is not None and side["width"] >= 340
    shot(page, "slate-shown-360")
    page.get_by_role("button", name="Stop").click()
    expect(page.get_by_role("heading", name="Slate")).to_be_visible()


def test_on_a_large_screen_the_code_is_whole(open_page: Any) -> None:
    page = open_page(SCREEN)
    expect(page.locator("[data-measured]")).to_contain_text("measured within")
    assert fits(page) and violations(page) == []
    shot(page, "slate-1280")
    start(page)
    side = page.locator("[data-code]").bounding_box()
    assert side is not None and side["y"] + side["height"] <= SCREEN["height"]
    assert read_screen(page)[0] is not None
    shot(page, "slate-shown-1280")


def test_codes_change_on_the_instant(open_page: Any) -> None:
    """When each code is drawn, by the browser's own clock, which is this machine's too."""
    page = open_page()
    measured = page.locator("[data-measured]")
    expect(measured).to_contain_text("measured within")
    within_ms = float(re.findall(r"within (\d+)", measured.inner_text())[0])
    start(page)
    drawn = page.evaluate(
        """() => new Promise((done) => {
            const canvas = document.querySelector("[data-code]");
            const pen = canvas.getContext("2d");
            const seen = [];
            const fill = pen.fillRect;
            pen.fillRect = function (...box) {
                const at = performance.timeOrigin + document.timeline.currentTime;
                if (at !== seen.at(-1)) seen.push(at);
                if (seen.length === 16) { delete pen.fillRect; done(seen); }
                fill.apply(pen, box);
            };
        })"""
    )
    # Light comes one and a half refreshes after drawing began, in the refresh that is nearest.
    late_ms = (np.array(drawn) + 1.5 * 1000 / 60) % PERIOD_MS
    late_ms[late_ms > PERIOD_MS / 2] -= PERIOD_MS
    assert abs(float(np.median(late_ms))) < within_ms + 6, late_ms
    assert np.mean(np.abs(late_ms) < within_ms + 17) > 0.7, late_ms


def test_tones_begin_at_whole_seconds_and_are_the_ones_that_are_looked_for(
    open_page: Any,
) -> None:
    page = open_page(script=WRITE_DOWN_SOUND)
    expect(page.locator("[data-measured]")).to_contain_text("measured within")
    start(page)
    page.wait_for_function("() => window.starts.length >= 3")
    starts_ms = np.array(page.evaluate("() => window.starts"))
    off_ms = (starts_ms + 500) % 1000 - 500
    assert np.all(np.abs(off_ms) < 20), off_ms  # two clocks read one after the other
    samples = np.array(page.evaluate("() => window.toneSamples"))
    rate_hz = int(page.evaluate("() => window.toneRate"))
    heard = np.zeros(3 * rate_hz)
    for at in (rate_hz // 2, 3 * rate_hz // 2):
        heard[at : at + len(samples)] = samples
    found = find_tones(heard, rate_hz)
    assert np.allclose([media_s for media_s, _ in found], [0.5, 1.5], atol=1e-4)
    assert min(score for _, score in found) > 0.99
    page.get_by_role("button", name="Tone on").click()
    expect(page.get_by_role("button", name="Tone off")).to_be_visible()


def test_without_a_network_there_is_no_code(open_page: Any) -> None:
    page = open_page()
    measured = page.locator("[data-measured]")
    expect(measured).to_contain_text("measured within")
    start(page)
    page.context.set_offline(True)
    page.evaluate(
        """() => { const now = performance.now.bind(performance);
            performance.now = () => now() + 200000; }"""  # some minutes later
    )
    page.evaluate("() => window.dispatchEvent(new Event('online'))")  # measures at once
    expect(measured).to_contain_text("has not been measured since")
    expect(page.locator("[data-now]")).to_have_text("")
    assert read_screen(page)[0] is None
    shot(page, "slate-no-network-360")


def test_a_phone_that_was_never_measured_cannot_start(open_page: Any, browser: Browser) -> None:
    page = open_page(path="starts/")

    def refuse(route: Route) -> None:
        route.abort()

    page.route("**/slate/time/", refuse)
    page.goto(page.url.replace("starts/", "slate/"))
    expect(page.locator("[data-measured]")).to_contain_text("cannot be measured")
    expect(page.get_by_role("button", name="Show the clock")).to_be_disabled()
