"""The page of one swim in a real browser: the ends of a clip moved by keyboard, mouse and touch,
to the frame; the card large; and all of it without script.

The film paints its frame number into each picture, so what a clip shows is read back from it.
axe-core is the outside witness for access; the browser's own console for the content policy.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from playwright.sync_api import Browser, Page

from clinics.actions.bring_in import take_in_files
from clinics.actions.cut import plan_cuts
from clinics.actions.index import index
from clinics.models import BoardAct, Clip, ClipFile, ClockFit, Recording, Station, Swim
from portal.actions.job_worker import drain
from portal.models import Job
from tests.browser import fits, shot, signed_in, violations
from tests.cast import FIRST_START, Cast, sign_in
from tests.media.film import make_film, numbers_in

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

SIZES = {"laptop": (1280, 860), "phone": (360, 740)}
FPS, FRAMES = 25, 550
CARD_SAYS = """(words) => {
    const img = document.querySelector('[data-card-img]');
    const said = document.querySelector('[data-card-words]').textContent.trim();
    return said === words && img.complete && img.naturalWidth > 0;
}"""
START_FRAME = 100  # of Tomas; the recording begins 4 s before it


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_film(
        tmp_path_factory.mktemp("film") / "00012.MTS",
        count=FRAMES,
        fps=FPS,
        video=("-c:v", "libx264", "-preset", "ultrafast", "-g", "12"),
        muxer=("-f", "mpegts"),
    )


@pytest.fixture
def filmed(cast: Cast, film: Path) -> Cast:
    """Tomas at 4 s and Wren at 9 s of a real recording at the start, each with a clip of 3.6 s."""
    ClipFile.objects.all().delete()
    Clip.objects.all().delete()
    Recording.objects.filter(station__clinic=cast.clinic).delete()
    take_in_files(
        station=cast.start_side,
        paths_with_names=[(film, film.name)],
        camera_name="Left",
        by=cast.crew,
    )
    recording = Recording.objects.get(station__clinic=cast.clinic)
    index(recording, lambda *_: None)
    recording.refresh_from_db()
    cast.recordings["start-side"] = recording
    ClockFit.objects.update_or_create(
        recording=recording,
        defaults={
            "zero_at": FIRST_START - dt.timedelta(seconds=START_FRAME / FPS),
            "rate_ppm": 0.0,
            "u_ms": 10.0,
            "state": "sure",
            "method": "ties",
        },
    )
    Station.objects.filter(pk=cast.start_side.pk).update(
        windows=[{"pass": 1, "from_s": -1.0, "to_s": 2.6}]
    )
    swims = Swim.objects.filter(entry__clinic=cast.clinic)
    swims.update(person="unconfirmed", others_recorded_at=None, passed_at=None, given_at=None)
    swims.filter(pk=cast.swims["wren"].pk).update(start_at=FIRST_START + dt.timedelta(seconds=5))
    Job.objects.all().delete()
    plan_cuts(clinic=cast.clinic)
    return cast


@pytest.fixture
def rendered(filmed: Cast) -> Cast:
    drain(("render",))
    return filmed


@pytest.fixture
def opened(browser: Browser, live_server: Any, filmed: Cast) -> Iterator[Any]:
    contexts = []

    def open_(size: str = "laptop", **options: Any) -> Page:
        width, height = SIZES[size]
        context = signed_in(
            browser,
            filmed.checker,
            live_server.url,
            viewport={"width": width, "height": height},
            locale="en-GB",
            reduced_motion="reduce",
            **options,
        )
        contexts.append(context)
        page = context.new_page()
        page.complaints = []  # type: ignore[attr-defined]
        page.on("console", lambda m: page.complaints.append(m.text))  # type: ignore[attr-defined]
        page.on("pageerror", lambda e: page.complaints.append(str(e)))  # type: ignore[attr-defined]
        page.goto(reverse("clinics:check-swim", args=[filmed.swims["tomas"].pk]))
        page.wait_for_load_state("networkidle")
        return page

    yield open_
    for context in contexts:
        context.close()


def clip_of(cast: Cast) -> Clip:
    return Clip.objects.get(swim=cast.swims["tomas"])


def ends(cast: Cast) -> tuple[int, int]:
    clip = clip_of(cast)
    return clip.first_frame, clip.first_frame + clip.frame_count - 1


def typed(page: Page) -> tuple[int, int]:
    names = ("first_frame", "last_frame")
    first, last = (
        page.locator(f"article [data-ends] [name={name}]").input_value() for name in names
    )
    return int(first), int(last)


def handle(page: Page, which: str) -> Any:
    return page.locator(f"article [data-ends-handle={which}]")


def stills(page: Page) -> tuple[int, int]:
    """Which frames the two pictures beside the strip are, once both are there."""
    page.wait_for_function(
        """([first, last]) => [['first', first], ['last', last]].every(([end, n]) => {
            const img = document.querySelector(`article [data-ends-still=${end}]`);
            return img.complete && img.naturalWidth > 0 && img.src.endsWith(`/frames/${n}/`);
        })""",
        arg=list(typed(page)),
    )
    return typed(page)


def keep(page: Page) -> None:
    page.get_by_role("button", name="Keep these ends").first.click()
    page.wait_for_url("**?ends=*")


# --- ends --------------------------------------------------------------------------------------


def test_ends_by_keyboard_to_the_frame_and_undone(
    rendered: Cast, opened: Any, filmed: Cast
) -> None:
    assert ends(filmed) == (75, 164)
    page = opened()
    page.get_by_text("Move its ends").first.press("Enter")
    first, last = handle(page, "first"), handle(page, "last")
    assert first.get_attribute("aria-valuetext") == "frame 75, 0:03.000"
    for key in ("ArrowRight", "ArrowRight", "ArrowRight", "ArrowLeft", "PageUp"):
        first.press(key)
    last.press("Shift+ArrowRight")
    last.press("PageDown")
    last.press("PageDown")
    assert typed(page) == (87, 154) and stills(page) == (87, 154)
    assert first.get_attribute("aria-valuetext") == "frame 87, 0:03.480"
    first.press("End")  # not beyond the other end
    assert typed(page) == (154, 154)
    first.press("Home")
    assert typed(page) == (0, 154)
    page.locator("article [data-ends] [name=first_frame]").fill("87")
    page.locator("article [data-ends] [name=first_frame]").press("Enter")
    page.wait_for_url("**?ends=*")
    assert ends(filmed) == (87, 154) and clip_of(filmed).window_by == "person"
    assert page.locator("article details.ends").first.get_attribute("open") is not None

    assert page.locator("[data-being-made]").count() == 1
    drain(("render",))
    page.wait_for_selector("[data-being-made]", state="detached")  # it came by itself
    video = clip_of(filmed).files.get(kind="video")
    assert numbers_in(video.stored.local_path()) == list(range(87, 155))
    page.locator("[data-step='1']").first.click()
    page.wait_for_function("() => document.querySelector('article video').currentTime > 0.05")

    page.get_by_role("button", name="Undo").click()
    page.wait_for_load_state("networkidle")
    assert "Undone: Tomas Birk, Start side: new ends." in page.locator(".messages").inner_text()
    assert ends(filmed) == (75, 164) and clip_of(filmed).window_by != "person"
    drain(("render",))
    video = clip_of(filmed).files.get(kind="video")
    assert numbers_in(video.stored.local_path()) == list(range(75, 165))
    assert page.complaints == []  # type: ignore[attr-defined]


def test_ends_by_mouse_and_nudges_that_are_kept_as_one_act(opened: Any, filmed: Cast) -> None:
    page = opened()
    page.get_by_text("Move its ends").first.click()
    track = page.locator("article [data-ends-track]").bounding_box()
    grip = handle(page, "last").bounding_box()
    page.mouse.move(grip["x"] + 4, grip["y"] + 30)
    page.mouse.down()
    page.mouse.move(grip["x"] + 40, grip["y"] + 30, steps=4)
    page.mouse.move(track["x"] + track["width"] * 0.75, grip["y"] + 200, steps=4)
    page.mouse.up()
    # the strip shows the clip with 15 s around it: 0 to 6.56 + 15 s
    assert abs(typed(page)[1] - 0.75 * 21.56 * FPS) <= 2 and typed(page)[0] == 75
    last = stills(page)[1]
    keep(page)
    assert ends(filmed) == (75, last)
    assert BoardAct.objects.get().kind == "ends"

    for words in ("+10", "+1", "+1", "−10", "−1"):
        page.get_by_role("button", name=words, exact=True).first.click()
    assert typed(page) == (76, last + 1) and stills(page) == (76, last + 1)
    assert BoardAct.objects.count() == 1
    page.get_by_role("button", name="Keep these ends").first.click()
    page.get_by_text("moved by 1 frame").wait_for()
    assert ends(filmed) == (76, last + 1)
    assert BoardAct.objects.get(kind="nudge").facts["frames"] == 1


def test_ends_by_touch_on_a_phone(opened: Any, filmed: Cast) -> None:
    page = opened("phone", has_touch=True, is_mobile=True)
    page.get_by_text("Move its ends").first.tap()
    grip = handle(page, "first")
    grip.scroll_into_view_if_needed()
    box, track = grip.bounding_box(), page.locator("article [data-ends-track]").bounding_box()
    finger = page.context.new_cdp_session(page)

    def touch(kind: str, *points: tuple[float, float]) -> None:
        said = [{"x": x, "y": y} for x, y in points]
        finger.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": said})

    y = box["y"] + 30
    touch("touchStart", (box["x"] + box["width"] - 4, y))
    for share in (0.12, 0.10, 0.08):
        touch("touchMove", (track["x"] + track["width"] * share, y))
    touch("touchEnd")
    assert abs(typed(page)[0] - 0.08 * 21.56 * FPS) <= 3 and typed(page)[1] == 164
    assert page.evaluate("scrollX") == 0
    keep(page)
    assert ends(filmed)[0] == pytest.approx(0.08 * 21.56 * FPS, abs=3)


# --- who ---------------------------------------------------------------------------------------


def test_the_card_large_and_earlier_then_a_swap_and_back(opened: Any, filmed: Cast) -> None:
    page = opened()
    img = page.locator("[data-card-img]")
    assert img.evaluate("e => [e.complete, e.naturalWidth, e.naturalHeight]") == [True, 640, 360]
    # the recording begins 4 s before the start: no step earlier is offered there
    assert not page.get_by_role("link", name="1 s earlier").is_visible()
    for step, there in (("later", 3), ("later", 2), ("earlier", 3), ("earlier", 4)):
        page.get_by_role("link", name=f"1 s {step}").click()
        page.wait_for_function(CARD_SAYS, arg=f"{there} s before the start")
    # 5 s before the start there is no picture: it stays at the last one
    with page.expect_response(lambda answer: answer.status == 404):
        page.get_by_role("link", name="1 s earlier").click()
    page.wait_for_function(CARD_SAYS, arg="4 s before the start")
    larger = page.get_by_role("button", name="Larger")
    small = img.bounding_box()["width"]
    larger.click()
    assert img.bounding_box()["width"] == pytest.approx(3 * small, rel=0.02)
    assert larger.get_attribute("aria-pressed") == "true"
    assert fits(page)
    page.get_by_role("button", name="The card says 1").click()
    page.wait_for_selector("text=number 1 seen, confirmed")
    assert Swim.objects.get(pk=filmed.swims["tomas"].pk).person == "confirmed"
    told = [line for line in page.complaints if "404" not in line]  # type: ignore[attr-defined]
    assert told == []

    page.get_by_role("button", name="Swap with Wren Okada").click()
    page.wait_for_load_state("networkidle")
    assert page.get_by_role("heading", level=1).inner_text() == "Wren Okada"
    page.get_by_role("button", name="Undo").click()
    page.wait_for_load_state("networkidle")
    assert page.get_by_role("heading", level=1).inner_text() == "Tomas Birk"


def test_the_page_fits_and_is_within_reach(rendered: Cast, opened: Any) -> None:
    for size in SIZES:
        _fits_and_is_within_reach(opened(size), size, rendered)


def _fits_and_is_within_reach(page: Page, size: str, filmed: Cast) -> None:
    for summary in page.locator("main summary").all():
        summary.click()
    stills(page)
    page.wait_for_load_state("networkidle")
    assert fits(page) and violations(page) == []
    small = """() => [...document.querySelectorAll('main :is(a.button, button, summary, .check,'
        + ' .ends-handle)')].filter(e => e.offsetParent).filter(e =>
            Math.min(e.getBoundingClientRect().height, e.getBoundingClientRect().width) < 44)
        .map(e => e.textContent.trim() || e.ariaLabel)"""
    assert page.evaluate(small) == []
    shot(page, f"check-swim-{size}")
    page.goto(reverse("clinics:check-add-swim", args=[filmed.clinic.pk]))
    assert fits(page) and violations(page) == []
    shot(page, f"check-add-swim-{size}")
    assert page.complaints == []  # type: ignore[attr-defined]


def test_it_all_works_without_script(browser: Browser, live_server: Any, filmed: Cast) -> None:
    cookie = sign_in(Client(), filmed.checker).cookies["session"].value
    context = browser.new_context(java_script_enabled=False)
    context.add_cookies([{"name": "session", "value": cookie, "url": live_server.url}])
    page = context.new_page()
    url = live_server.url + reverse("clinics:check-swim", args=[filmed.swims["tomas"].pk])
    page.goto(url)
    page.get_by_role("link", name="1 s later").click()
    assert "3 s before the start" in page.content()
    page.get_by_role("link", name="1 s earlier").click()
    assert "4 s before the start" in page.content()
    page.get_by_text("Move its ends").first.click()
    page.get_by_role("button", name="+10", exact=True).first.click()
    assert ends(filmed) == (85, 174)
    page.locator("article [data-ends] [name=last_frame]").fill("180")  # comes back open
    page.get_by_role("button", name="Keep these ends").first.click()
    assert ends(filmed) == (85, 180)
    page.get_by_text("From any recording, by frame numbers").click()
    by_numbers = page.locator("#cut form").last
    by_numbers.locator("select").select_option(index=1)
    by_numbers.locator("[name=first_frame]").fill("10")
    by_numbers.locator("[name=last_frame]").fill("60")
    by_numbers.locator("[name=pass_no]").fill("2")
    by_numbers.get_by_role("button", name="Cut this").click()
    assert Clip.objects.get(pass_no=2).frame_count == 51
    page.get_by_role("button", name="I know Tomas Birk by face").click()
    page.get_by_label("Nobody else").check()
    page.get_by_text("This was no swim").click()
    page.get_by_role("button", name="Take it off the board").click()
    assert "Tomas Birk: no swim." in page.content()
    assert not Swim.objects.filter(pk=filmed.swims["tomas"].pk).exists()
    context.close()
