"""Two swims side by side in real Chromium: in step from the breakout, standing, stepped, after
playing; on a laptop and on a phone.

What is on screen is read from screenshots: every picture carries its number. Which number is
right is known from when the pictures were drawn (painted_room.py), not from the code under test.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Browser, BrowserContext, expect

from clinics.models import Clip, Recording
from feedback.models import Mark
from portal.models import User
from tests.browser import fits, shot, signed_in, violations
from tests.cast import build_cast, make_station
from tests.feedback.painted_room import Station4, least_excess_s, put_room, room_of_run
from tests.feedback.two_swims import earlier_clinic, enter, marked, swim_of
from tests.journeys.compare_page import (
    NOW_FRAME,
    THEN_FRAME,
    WITHIN_S,
    Page2,
    Two,
    mark_both,
    pinch,
    scales,
    swipe,
    tools,
)
from tests.journeys.room import PHONE

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]


@pytest.fixture(scope="module")
def films(tmp_path_factory: pytest.TempPathFactory) -> list[Station4]:
    return room_of_run(tmp_path_factory, 6)


def _elsewhere(clip: Clip, station: Any) -> Clip:
    Clip.objects.filter(pk=clip.pk).update(station=station)
    Recording.objects.filter(pk=clip.recording_id).update(station=station)
    clip.refresh_from_db()
    return clip


@pytest.fixture
def two(transactional_db: None, films: list[Station4], settings: Any) -> Two:
    settings.SECOND_FACTOR_REQUIRED = False
    cast = build_cast()
    start, under, window, _ = films
    now = cast.swims["tomas"]
    clips = put_room(cast, [start, under], now)
    clinic = earlier_clinic(cast, course_m=22.86)
    then = swim_of(cast, enter(clinic, now.entry.swimmer))
    earlier = put_room(cast, [start, window], then)
    for n, (clip, kind) in enumerate(zip(earlier, ("start-side", "underwater"), strict=True), 1):
        _elsewhere(clip, make_station(clinic, n, kind, clips[n - 1].station.name, kind))
    return Two(cast, then, now, (earlier[1], clips[1]), (window, under))


@pytest.fixture
def pages(browser: Browser, live_server: Any, two: Two, size: dict[str, int]) -> Iterator[Any]:
    opened: list[tuple[Page2, BrowserContext]] = []

    def page_of(user: User, **options: Any) -> Page2:
        touch = {"has_touch": True} if size is PHONE else {}
        context = signed_in(browser, user, live_server.url, viewport=size, **touch, **options)
        page = Page2(context.new_page(), live_server.url, two)
        opened.append((page, context))
        return page

    yield page_of
    for page, context in opened:
        context.close()
        assert page.said == []


def test_two_swims_are_in_step_from_the_breakout(two: Two, pages: Any) -> None:
    mark_both(two)
    page = pages(two.cast.tomas).open("?mark=breakout")
    assert page.frames() == [THEN_FRAME, NOW_FRAME]
    assert abs(page.since_s) < WITHIN_S
    keys = page.page.keyboard
    for n, other, step in ((1, 0, 1), (1, 0, -7), (0, 1, 3), (0, 1, -4), (1, 0, 10)):
        keys.press(str(n + 1))
        before = page.frames()[n]
        for _ in range(abs(step) // (10 if step == 10 else 1)):
            keys.press(
                "Shift+ArrowRight" if step == 10 else f"Arrow{'Right' if step > 0 else 'Left'}"
            )
        page.wait_for(n, before + step)
        frames = page.frames()
        assert frames[n] == before + step and two.hold(frames, page.since_s)
        assert frames[other] == two.right(page.since_s)[other]
    keys.press("m")
    page.wait_for(0, THEN_FRAME)
    assert page.frames() == [THEN_FRAME, NOW_FRAME]


@pytest.mark.parametrize("engine", ["frames", "players"])
def test_stopped_after_playing_both_show_the_same_time_since_the_breakout(
    two: Two, pages: Any, engine: str
) -> None:
    mark_both(two)
    page = pages(two.cast.coach).open(f"?mark=breakout&engine={engine}")
    room = page.page.locator("[data-compare]")
    expect(room).to_have_attribute("data-engine", engine)
    for rate_keys in (0, 2):
        for _ in range(rate_keys):
            page.page.keyboard.press("ArrowDown")
        page.page.keyboard.press("m")
        page.wait_for(0, THEN_FRAME)
        page.page.keyboard.press(" ")
        expect(room).to_have_attribute("data-playing", "true")
        page.page.wait_for_timeout(1200)
        page.page.keyboard.press(" ")
        expect(room).to_have_attribute("data-playing", "false")
        page.page.wait_for_timeout(400)  # players are put on their frame once they stand
        frames, since_s = page.frames(), page.since_s
        assert since_s > 0.1 and frames[0] > THEN_FRAME and frames[1] > NOW_FRAME
        assert two.hold(frames, since_s)
        # by the swims' own times these pictures do not belong together: the mark was taken off
        assert least_excess_s(list(zip(two.films, frames, strict=True))) > 0.15


def test_a_coach_marks_what_is_missing_and_comes_back_in_step(
    two: Two, pages: Any, size: dict[str, int]
) -> None:
    marked(two.cast, two.clips[0], THEN_FRAME)
    page = pages(two.cast.coach).open()
    body = page.page
    expect(body.get_by_text("14 November 2026: the breakout is not marked.")).to_be_visible()
    expect(body.get_by_text("Course: 22.86 m against 25 m.")).to_be_visible()
    expect(body.get_by_text("frames a second against")).to_be_visible()
    assert not body.get_by_role("link", name="breakout", exact=True).count()
    marked(two.cast, two.clips[1], NOW_FRAME)  # as in the room of that swim
    body.reload()
    body.get_by_role("link", name="breakout", exact=True).click()
    body.wait_for_selector("[data-compare][data-ready]")
    assert page.frames() == [THEN_FRAME, NOW_FRAME] and Mark.objects.count() == 2
    expect(body.get_by_text("as marked on a frame").first).to_be_attached()  # a phone leaves it out
    shot(body, f"compare-{size['width']}")
    assert fits(body) and violations(body) == []


def test_views_are_chosen_and_what_does_not_reach_says_so(
    two: Two, pages: Any, size: dict[str, int]
) -> None:
    mark_both(two)
    page = pages(two.cast.coach).open("?mark=breakout")
    body = page.page
    now = two.now.clips.get(station__kind="start-side")
    then = two.then.clips.get(station__kind="start-side")
    body.locator("#view-right").select_option(str(now.pk))  # its counterpart comes with it
    body.wait_for_selector(f'[data-side="0"][data-view="{then.pk}"]')
    body.wait_for_selector(f'[data-side="1"][data-view="{now.pk}"]')
    body.keyboard.press("n")
    body.wait_for_selector(f'[data-side="0"][data-view="{two.clips[0].pk}"]')
    body.locator("[role=slider]").focus()
    body.keyboard.press("End")
    expect(body.locator("[data-not-here]:not([hidden])").first).to_be_visible()
    body.keyboard.press("?")
    expect(body.locator("dialog[open]")).to_be_visible()
    shot(body, f"compare-keys-{size['width']}")


def test_without_script_both_pictures_stand_at_the_mark(
    two: Two, pages: Any, size: dict[str, int]
) -> None:
    mark_both(two)
    page = pages(two.cast.tomas, java_script_enabled=False)
    url = reverse("feedback:compare", args=[two.now.pk])
    page.page.goto(page.server + url)
    page.page.get_by_role("link", name="breakout", exact=True).click()
    sources = [video.get_attribute("src") or "" for video in page.page.locator("video").all()]
    for n, (source, film) in enumerate(zip(sources, two.films, strict=True)):
        opens_at_s = two.event_s(n) - float(film.edges_s[0])
        assert abs(float(source.split("#t=")[1]) - opens_at_s) < 2e-3, n
    now = two.now.clips.get(station__kind="start-side")
    page.page.locator("#view-right").select_option(str(now.pk))
    page.page.get_by_role("button", name="Show these views").click()
    expect(page.page.locator("#view-right")).to_have_value(str(now.pk))
    shot(page.page, f"compare-plain-{size['width']}")
    assert fits(page.page)


def test_two_fingers_enlarge_one_picture_and_both_stay_in_step(
    two: Two, pages: Any, size: dict[str, int]
) -> None:
    mark_both(two)
    page = pages(two.cast.coach).open("?mark=breakout")
    body = page.page
    if size is PHONE:
        pinch(body, body.locator('[data-side="1"] [data-pictures]'), 120)
        assert scales(body)[1] > 2
    else:  # the wheel with ctrl
        body.locator('[data-side="1"] [data-pictures]').hover()
        body.keyboard.down("Control")
        body.mouse.wheel(0, -300)
        body.keyboard.up("Control")
        body.wait_for_function("document.querySelectorAll('.window.enlarged').length === 1")
    assert scales(body)[0] == 1 and scales(body)[1] > 1.2
    expect(body.locator("[data-compare]")).to_have_attribute("data-playing", "false")  # no tap
    shot(body, f"compare-enlarged-{size['width']}")
    body.keyboard.press("2")
    body.keyboard.press("ArrowRight")
    page.wait_for(1, NOW_FRAME + 1)
    tools(body)
    expect(body.locator("[data-of-main]")).to_contain_text("14 November 2026")
    body.get_by_role("button", name="Whole picture").click()
    assert scales(body) == [1, 1]
    frames = page.frames()
    assert frames == [two.right(page.since_s)[0], NOW_FRAME + 1]
    assert two.hold(frames, page.since_s)
    body.get_by_role("button", name="Larger").click()
    assert scales(body) == [1, 1.5]
    assert fits(body) and violations(body) == []


def test_a_loop_runs_both_again_and_again_in_step(
    two: Two, pages: Any, size: dict[str, int]
) -> None:
    mark_both(two)
    page = pages(two.cast.tomas).open("?mark=breakout")
    body = page.page
    tools(body)
    body.locator('[data-side="1"] [data-steps]').click()
    body.get_by_role("button", name="Begin here").click()
    for _ in range(3):
        body.keyboard.press("Shift+ArrowRight")
    page.wait_for(1, NOW_FRAME + 30)
    body.get_by_role("button", name="End here").click()
    end_s = float(two.films[1].edges_s[NOW_FRAME + 31]) - two.event_s(1)  # that frame is still seen
    said = f"Again and again from 0.00 to {end_s:.2f} s, counted from the mark"
    expect(body.locator("[data-loop-said]")).to_have_text(said)
    expect(body.locator("[data-lane-strip] rect[data-loop]")).to_have_count(1)
    body.locator("[data-do=play]").click()
    seen = [page.since_s]
    for _ in range(30):
        body.wait_for_timeout(60)
        seen.append(page.since_s)
    body.locator("[data-do=play]").click()
    expect(body.locator("[data-compare]")).to_have_attribute("data-playing", "false")
    body.wait_for_timeout(400)
    assert max(seen) < end_s + 0.001 and min(seen) > -0.001
    assert any(later < before - 0.1 for before, later in itertools.pairwise(seen)), "it began anew"
    assert two.hold(page.frames(), page.since_s)
    shot(body, f"compare-loop-{size['width']}")
    body.get_by_role("button", name="No loop").click()
    expect(body.locator("[data-loop]")).to_have_count(0)


def test_light_is_of_one_swims_station(two: Two, pages: Any, size: dict[str, int]) -> None:
    mark_both(two)
    body = pages(two.cast.coach).open("?mark=breakout").page
    tools(body)
    body.locator('[data-side="1"] [data-steps]').click()
    body.locator("[data-light] summary").click()
    expect(body.locator("[data-light-name]")).to_have_text(
        "Light of Underwater 12.5 m, 14 November 2026"
    )
    body.locator("[data-brightness]").fill("180")
    lit = body.locator(".one:not([hidden]) [data-surface]").evaluate_all(
        "all => all.map(one => getComputedStyle(one).filter)"
    )
    assert lit == ["none", "brightness(1.8) contrast(1)"]
    body.locator("[data-light]").scroll_into_view_if_needed()
    shot(body, f"compare-light-{size['width']}")
    body.get_by_role("button", name="As filmed").click()
    expect(body.locator(".picture.lit")).to_have_count(0)


def test_over_the_whole_screen_both_pictures_are_in_sight(
    two: Two, pages: Any, size: dict[str, int]
) -> None:
    mark_both(two)
    page = pages(two.cast.coach).open("?mark=breakout")
    body = page.page
    small = body.locator("[data-pictures]").first.bounding_box()
    body.get_by_role("button", name="Full screen").click()
    expect(body.locator("[data-compare].full")).to_be_visible()
    boxes = [one.bounding_box() for one in body.locator("[data-pictures]").all()]
    keys = body.locator(".step-keys button").first.bounding_box()
    for box in boxes:
        assert box["height"] > small["height"] and box["y"] >= 0
        assert box["y"] + box["height"] < keys["y"], "no key covers a picture"
    assert page.frames() == [THEN_FRAME, NOW_FRAME]
    expect(body.locator(".whose").first).to_be_visible()
    shot(body, f"compare-full-{size['width']}")
    assert violations(body) == []
    body.keyboard.press("g")
    expect(body.locator("[data-compare].full")).to_have_count(0)


def test_a_finger_taps_to_play_and_swipes_to_the_next_pair(
    two: Two, pages: Any, size: dict[str, int]
) -> None:
    if size is not PHONE:
        pytest.skip("a finger")
    mark_both(two)
    page = pages(two.cast.coach).open("?mark=breakout")
    body = page.page
    picture = body.locator('[data-side="0"] [data-pictures]')
    picture.tap()
    expect(body.locator("[data-compare]")).to_have_attribute("data-playing", "true")
    picture.tap()
    expect(body.locator("[data-compare]")).to_have_attribute("data-playing", "false")
    swipe(body, picture, -160)
    then = two.then.clips.get(station__kind="start-side")
    now = two.now.clips.get(station__kind="start-side")
    body.wait_for_selector(f'[data-side="0"][data-view="{then.pk}"]')
    body.wait_for_selector(f'[data-side="1"][data-view="{now.pk}"]')
