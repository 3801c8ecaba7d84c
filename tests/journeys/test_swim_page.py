"""The swim's page in a real browser, on real clips: exact frames, comments, no violation.

The witness for what is on screen is a screenshot: every picture carries the number of its
frame in its recording, painted when it was drawn.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from playwright.sync_api import Browser, expect

from feedback.models import Comment
from tests.cast import Cast, build_cast
from tests.feedback.painted_swim import Film, put_film, true_ticks
from tests.feedback.words import reply_and_send, say_and_send, sent
from tests.journeys.room import WIDE, rooms_of

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def told_cast(transactional_db: None, film: Film, settings: Any) -> Cast:
    settings.SECOND_FACTOR_REQUIRED = False
    cast = build_cast()
    put_film(cast, film)
    return cast


@pytest.fixture
def rooms(browser: Browser, live_server: Any, size: dict[str, int]) -> Iterator[Any]:
    with rooms_of(browser, live_server.url, size) as room_of:
        yield room_of


@pytest.mark.parametrize("engine", ["frames", "players"])
def test_frames_are_exact_step_by_step_and_after_jumps(
    told_cast: Cast, rooms: Any, engine: str
) -> None:
    even, uneven, _ = told_cast.clips["tomas"]
    room = rooms(told_cast.coach).open(even, f"?engine={engine}")
    assert room.told("engine") == engine
    notice = room.page.get_by_text("This browser shows pictures less exactly")
    assert notice.is_visible() is (engine == "players")
    for clip in (even, uneven):
        room.page.locator(f'[data-stand="{clip.pk}"]').click()
        room.page.wait_for_selector(f'[data-room][data-view="{clip.pk}"]')
        start = room.frame
        for step in (1, 1, 1, -1, 1, 1, -1, -1):
            room.page.keyboard.press("ArrowRight" if step > 0 else "ArrowLeft")
            start += step
            room.wait_for(clip, start)
            assert room.number() == clip.first_frame + start
        room.page.keyboard.press("Shift+ArrowRight")
        room.wait_for(clip, start + 10)
        assert room.number() == clip.first_frame + start + 10
    for frame in (0, 99, 37, 38, 1):
        room.open(uneven, f"?engine={engine}&view={uneven.pk}&at={frame}")
        room.wait_for(uneven, frame)
        assert room.number() == uneven.first_frame + frame


def test_it_plays_stops_at_what_is_shown_and_says_that_time(told_cast: Cast, rooms: Any) -> None:
    clip = told_cast.clips["tomas"][1]
    room = rooms(told_cast.coach).open(clip, f"?view={clip.pk}&at=0")
    for speed in (1, 3, 4):
        room.page.locator("[data-speed]").fill(str(speed))
        before = room.frame
        room.page.locator("[data-do=play]").click()
        room.page.wait_for_function(
            "n => Number(document.querySelector('[data-room]').dataset.frame) > n + 4", arg=before
        )
        room.page.locator("[data-do=play]").click()
        expect(room.page.locator("[data-do=play]")).to_have_text("Play")
        frame = room.frame
        assert room.number() == clip.first_frame + frame
    # swim time of that frame: the recording begins 20 s before the start signal
    at_s = true_ticks("underwater")[clip.first_frame + frame] / 90_000 - 20
    caption = room.page.locator(".stage .main figcaption")
    expect(caption.locator("[data-time]")).to_have_text(f"{at_s:.2f} s")
    expect(caption.locator(".state")).to_have_text("within 4 frames")


def test_coach_says_at_the_frame_swimmer_jumps_and_replies(
    told_cast: Cast, rooms: Any, size: dict[str, int]
) -> None:
    clip = told_cast.clips["tomas"][1]
    coach = rooms(told_cast.coach).open(clip, f"?view={clip.pk}&at=56")
    coach.press("ArrowRight")
    coach.wait_for(clip, 57)
    coach.page.get_by_label("Say something at 9.28 s on Underwater 12.5 m, pass 1").fill(
        "Left hand crosses under the chest at the catch.\nReach to your own side of the lane."
    )
    coach.page.get_by_role("button", name="Keep as draft").click()
    expect(coach.page.locator("#said article")).to_have_count(1)
    expect(coach.page.locator("[data-pin]")).to_have_count(1)
    said = Comment.objects.get()
    assert said.pts_ticks == true_ticks("underwater")[clip.first_frame + 57]
    assert said.recording == told_cast.recordings["underwater"]
    assert coach.number() == clip.first_frame + 57  # the picture stayed where it was
    coach.shoot(f"coach-{size['width']}")

    sent(said)
    swimmer = rooms(told_cast.tomas).open(clip)
    assert swimmer.view == str(told_cast.clips["tomas"][0].pk)
    expect(swimmer.page.locator("#said .new")).to_have_text("new")
    swimmer.page.locator("#said a.jump").click()
    swimmer.wait_for(clip, 57)
    assert swimmer.number() == clip.first_frame + 57
    swimmer.page.locator("#said .answer summary").click()
    swimmer.page.get_by_label("Your reply").fill("Felt that. Earlier catch?")
    swimmer.page.get_by_role("button", name="Send reply").click()
    expect(swimmer.page.locator("#said .reply")).to_contain_text("Felt that.")
    assert swimmer.frame == 57
    expect(swimmer.page.locator("#said article.now")).to_have_count(1)
    swimmer.shoot(f"swimmer-{size['width']}")


def test_the_strip_moves_the_picture_by_pointer_and_by_key(told_cast: Cast, rooms: Any) -> None:
    even, uneven, back = told_cast.clips["tomas"]
    said = say_and_send(swim=even.swim, by=told_cast.coach, text="Level.", clip=uneven, frame=40)
    room = rooms(told_cast.tomas).open(even)
    slider = room.page.get_by_role("slider", name="Instant of the swim")
    low, high = (float(slider.get_attribute(f"aria-value{end}") or 0) for end in ("min", "max"))
    box = slider.bounding_box()
    room.page.mouse.click(box["x"] + box["width"] * (29.5 - low) / (high - low), box["y"] + 34)
    room.page.wait_for_selector(f'[data-room][data-view="{back.pk}"]')
    now = float(slider.get_attribute("aria-valuenow") or 0)
    assert abs(now - 29.5) < (high - low) / box["width"] + 0.05
    assert room.number() == back.first_frame + room.frame
    slider.focus()
    frame = room.frame
    room.page.keyboard.press("ArrowRight")
    room.wait_for(back, frame + 1)
    room.page.keyboard.press("Home")
    room.wait_for(even, 0)
    cap_and_wake = room.page.locator("[data-lane-strip] [data-cap]")
    assert [part.get_attribute("x") for part in cap_and_wake.all()] == ["0%", "0%"]
    ring, cap = (room.page.locator(f"[data-lane-strip]{it}").bounding_box() for it in ("", " .cap"))
    assert ring["x"] < cap["x"]  # the strip with its focus ring holds the whole cap
    pin = room.page.locator(f'[data-pin][data-key="{said.pk}"] circle').bounding_box()
    room.page.mouse.click(pin["x"] + pin["width"] / 2, pin["y"] + pin["height"] / 2)
    room.wait_for(uneven, 40)
    assert room.number() == uneven.first_frame + 40


def test_playing_follows_the_swimmer_into_the_next_view(
    told_cast: Cast, rooms: Any, size: dict[str, int]
) -> None:
    """Nobody filmed between the first view and the second: that is passed over."""
    first, second, _ = told_cast.clips["tomas"]
    room = rooms(told_cast.tomas).open(first, f"?view={first.pk}&at=80")
    room.page.locator("[data-do=play]").click()
    room.wait_for_view(second)
    room.page.locator("[data-do=play]").click()
    assert room.at_s > second.seen_from_s - 0.001
    room.open(first, f"?view={first.pk}&at=80")
    if size is WIDE:
        room.page.get_by_role("button", name="One view", exact=True).click()
    room.page.locator("[data-do=follow]").click()
    room.page.locator("[data-do=play]").click()
    room.wait_for(first, 99)
    expect(room.page.locator("[data-do=play]")).to_have_text("Play")
    assert room.number() == first.first_frame + 99


def test_keys_reach_everything_trap_nobody_and_can_be_turned_off(
    told_cast: Cast, rooms: Any
) -> None:
    first, second, _ = told_cast.clips["tomas"]
    room = rooms(told_cast.coach).open(first)
    keyboard = room.page.keyboard
    keyboard.press("2")
    room.page.wait_for_selector(f'[data-room][data-view="{second.pk}"]')
    keyboard.press("?")
    help_sheet = room.page.get_by_role("dialog", name="Keys and gestures")
    expect(help_sheet).to_be_visible()
    room.page.get_by_label("Keys work on this device").uncheck()
    keyboard.press("Escape")
    expect(help_sheet).to_be_hidden()
    frame = room.frame
    keyboard.press("1")
    keyboard.press("ArrowRight")
    assert (room.view, room.frame) == (str(second.pk), frame)
    # Tab goes through the whole page and comes out at its end
    room.page.locator("body").evaluate("body => { body.tabIndex = -1; body.focus(); }")
    seen = []
    for _ in range(120):
        keyboard.press("Tab")
        seen.append(room.page.evaluate("document.activeElement.textContent.trim().slice(0, 40)"))
        if "Keep as draft" in seen[-1]:
            break
    assert "Keep as draft" in seen[-1]
    assert "Follow the swimmer" in seen


def test_a_view_is_loaded_in_the_size_that_it_has(told_cast: Cast, rooms: Any) -> None:
    clip = told_cast.clips["tomas"][0]
    asked: list[str] = []
    room = rooms(told_cast.coach)
    room.page.on("request", lambda request: asked.append(request.url))
    room.open(clip)
    large, small = clip.files.filter(kind="video").order_by("-height")
    height_px = room.page.locator(".stage .main [data-surface]").bounding_box()["height"]
    wanted, other = (small, large) if height_px <= 180 else (large, small)
    videos = [url for url in asked if url.endswith(f"/{wanted.pk}/")]
    assert videos
    assert not [url for url in asked if url.endswith(f"/{other.pk}/")]


def test_no_barrier_that_axe_knows(told_cast: Cast, rooms: Any, size: dict[str, int]) -> None:
    clip = told_cast.clips["tomas"][1]
    said = say_and_send(swim=clip.swim, by=told_cast.coach, text="Level.", clip=clip, frame=40)
    reply_and_send(to=said, by=told_cast.tomas, text="Like this?")
    say_and_send(swim=clip.swim, by=told_cast.coach, text="Good rhythm all along.")
    pages = [
        (told_cast.coach, "feedback:waiting"),
        (told_cast.tomas, "feedback:my-swims"),
        (told_cast.coach, None),
    ]
    for user, name in pages:
        room = rooms(user)
        if name:
            room.page.goto(room.server + reverse(name))
        else:
            room.open(clip)
        room.page.wait_for_load_state("networkidle")
        room.shoot(f"{(name or 'feedback:swim').split(':')[1]}-{size['width']}")
        found = Axe().run(room.page)
        assert found.violations_count == 0, found.generate_report()
        wide = room.page.evaluate("document.documentElement.scrollWidth")
        assert wide <= size["width"], f"{name} scrolls sideways: {wide} px"


def test_controls_are_large_enough_for_a_thumb(told_cast: Cast, rooms: Any) -> None:
    room = rooms(told_cast.coach).open(told_cast.clips["tomas"][0])
    small = room.page.locator("main button, main select, main textarea, main summary").evaluate_all(
        "all => all.filter(e => e.offsetParent && e.getBoundingClientRect().height < 44)"
        ".map(e => e.outerHTML)"
    )
    assert small == []


def test_without_script_the_page_plays_jumps_and_takes_words(
    told_cast: Cast, rooms: Any, size: dict[str, int]
) -> None:
    clip = told_cast.clips["tomas"][1]
    say_and_send(swim=clip.swim, by=told_cast.coach, text="Level.", clip=clip, frame=40)
    room = rooms(told_cast.tomas, java_script_enabled=False)
    room.page.goto(room.server + reverse("feedback:swim", args=[clip.swim_id]))
    room.page.locator("a.jump").click()
    assert f"view={clip.pk}&at=40" in room.page.url
    for _ in range(50):  # nothing on the page says when the plain player is there
        if room.number(str(clip.pk)) == clip.first_frame + 40:
            break
        room.page.wait_for_timeout(100)
    assert room.number(str(clip.pk)) == clip.first_frame + 40
    room.page.locator("#said .say textarea").fill("What do you mean?")
    room.page.get_by_role("button", name="Say it").click()
    said = Comment.objects.get(author=told_cast.tomas)
    assert said.pts_ticks == true_ticks("underwater")[clip.first_frame + 40]
    expect(room.page.locator(".stage .view")).to_have_count(3)
    room.shoot(f"no-script-{size['width']}")
