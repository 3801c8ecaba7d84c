"""The stage of the room with four views of one swim: who stands on it, in step, and at what cost.

Every picture of the four carries its station and number; times are asked of the truth by which
they were drawn.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, expect

from clinics.models import Clip
from tests.browser import fits, violations
from tests.cast import Cast, build_cast
from tests.feedback.painted_room import Station4, least_excess_s, put_room, room_of_run
from tests.feedback.words import say_and_send
from tests.journeys.room import PHONE, WIDE, Room, rooms_of

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

START, UNDER, WINDOW, DECK = range(4)


@pytest.fixture(scope="module")
def stations(tmp_path_factory: pytest.TempPathFactory) -> list[Station4]:
    return room_of_run(tmp_path_factory, 6)


@pytest.fixture
def cast(transactional_db: None, settings: Any) -> Cast:
    settings.SECOND_FACTOR_REQUIRED = False
    return build_cast()


@pytest.fixture
def clips(cast: Cast, stations: list[Station4]) -> list[Clip]:
    """Under water the swimmer is seen from 2 s to 4 s, at the start side before that."""
    made = put_room(cast, stations)
    for clip, seen in zip(made, [(0, 2), (2, 4), (4, 4.4), (0, 5.5)], strict=True):
        clip.seen_from_s, clip.seen_to_s = seen
        clip.save()
    return made


@pytest.fixture
def rooms(browser: Browser, live_server: Any) -> Iterator[Any]:
    with rooms_of(browser, live_server.url, WIDE) as room_of:
        yield room_of


@pytest.fixture
def phones(browser: Browser, live_server: Any) -> Iterator[Any]:
    with rooms_of(browser, live_server.url, PHONE) as room_of:
        yield room_of


def go(room: Room, at_s: float) -> None:
    """As the strip does when it is dragged."""
    room.page.locator("[data-lane-strip]").evaluate(
        "(strip, at_s) => strip.dispatchEvent("
        "new CustomEvent('lane-strip:move', { detail: { at_s }, bubbles: true }))",
        at_s,
    )
    room.page.wait_for_function(
        "at_s => Math.abs(Number(document.querySelector('[data-room]').dataset.at) - at_s) < 0.07",
        arg=at_s,
    )
    room.page.wait_for_timeout(250)  # the other views are painted with it, or just after


def painted(room: Room, stations: list[Station4], clips: list[Clip]) -> list[tuple[Station4, int]]:
    """Which picture of each view on stage the screen shows, where it shows one."""
    told = []
    for key in room.shown():
        station = stations[[str(clip.pk) for clip in clips].index(key)]
        frame = station.frame_of(room.number(key))
        if frame is not None:
            told.append((station, frame))
    return told


@pytest.mark.parametrize("engine", ["frames", "players"])
def test_all_views_on_stage_show_one_instant(
    cast: Cast, clips: list[Clip], stations: list[Station4], rooms: Any, engine: str
) -> None:
    room = rooms(cast.coach).open(clips[UNDER], f"?engine={engine}&view={clips[UNDER].pk}&at=40")
    room.page.get_by_role("button", name="Four views").click()
    expect(room.page.locator("figure.view.shown")).to_have_count(4)
    for at_s in (3.1, 0.4, 4.2):
        go(room, at_s)
        for key in ("ArrowRight", "ArrowRight", "ArrowLeft"):
            before = room.frame
            room.press(key)
            expect(room.page.locator("[data-room]")).not_to_have_attribute(
                "data-frame", str(before)
            )
            room.page.wait_for_timeout(150)
        shown = painted(room, stations, clips)
        assert len(shown) == 4
        assert least_excess_s(shown) == 0
        main = stations[[str(clip.pk) for clip in clips].index(room.view)]
        assert dict((s.number, f) for s, f in shown)[main.number] == room.frame


def test_the_stage_follows_the_swimmer_beside_who_walks_along(
    cast: Cast, clips: list[Clip], rooms: Any
) -> None:
    start, under, window, deck = (str(clip.pk) for clip in clips)
    room = rooms(cast.coach).open(clips[START])
    for at_s, shown in ((1.0, [start, deck]), (3.0, [under, deck]), (4.2, [window, deck])):
        go(room, at_s)
        assert room.shown() == shown
        assert room.view == shown[0]
    # while it plays, too
    go(room, 1.7)
    room.page.locator("[data-do=play]").click()
    room.page.wait_for_selector(f'[data-room][data-view="{under}"]')
    room.page.locator("[data-do=play]").click()
    expect(room.page.locator("[data-do=play]")).to_have_text("Play")
    assert room.shown() == [under, deck]
    outlined = room.page.locator(".stand.on").evaluate_all("all => all.map(s => s.dataset.stand)")
    assert set(outlined) == {under, deck}


def test_the_film_that_is_wanted_next_is_there_before_the_swimmer_is(
    cast: Cast, clips: list[Clip], rooms: Any
) -> None:
    films = {str(f.pk): str(c.pk) for c in clips for f in c.files.filter(kind="video")}
    start, under, window, deck = (str(clip.pk) for clip in clips)
    room = rooms(cast.coach)
    asked = films_asked(room)
    room.open(clips[START])
    go(room, 1.0)
    room.page.wait_for_timeout(1500)
    assert room.shown() == [start, deck]
    assert {films[one] for one in asked if one in films} == {start, deck, under}
    go(room, 3.0)
    assert room.shown() == [under, deck]
    room.page.wait_for_timeout(1500)
    fetched = [films[one] for one in asked if one in films]
    assert fetched.count(under) == 1 and window in fetched


def test_a_view_that_is_kept_stays_and_another_can_take_a_place(
    cast: Cast, clips: list[Clip], rooms: Any
) -> None:
    start, under, window, deck = (str(clip.pk) for clip in clips)
    room = rooms(cast.coach).open(clips[START])
    go(room, 1.0)
    keep = room.page.get_by_role("button", name="Keep on stage: Start side")
    keep.click()
    expect(keep).to_have_attribute("aria-pressed", "true")
    go(room, 3.0)
    assert set(room.shown()) == {start, under}
    keep.click()
    go(room, 3.1)
    assert room.shown() == [under, deck]
    # another in the deck camera's place, at the same instant
    at_s = room.at_s
    places = room.page.locator(f'figure[data-view="{deck}"]').get_by_label("View in this place")
    places.select_option(window)
    expect(room.page.locator(f'figure.view.shown[data-view="{window}"]')).to_be_visible()
    assert room.shown() == [under, window]
    assert abs(room.at_s - at_s) < 0.001
    # whose frames are stepped can be chosen
    name = clips[WINDOW].station.name
    room.page.get_by_role("button", name=f"Step the frames of {name}").click()
    room.page.wait_for_selector(f'[data-room][data-view="{window}"]:not([data-frame=""])')
    before = room.frame
    room.press("ArrowRight")
    room.wait_for(clips[WINDOW], before + 1)


def test_a_view_says_when_it_has_nothing_to_show(
    cast: Cast, clips: list[Clip], stations: list[Station4], rooms: Any
) -> None:
    room = rooms(cast.coach).open(clips[DECK], f"?view={clips[DECK].pk}&at=5")
    room.page.get_by_role("button", name="Four views").click()
    go(room, -0.5)  # only the start side films already
    note = room.page.locator(f'figure[data-view="{clips[WINDOW].pk}"] [data-note]')
    expect(note).to_have_text(
        re.compile(r"^Not filmed from here at this instant \(from 0\.1 to \d\.\d s\)$")
    )
    go(room, 3.0)
    expect(room.page.locator(f'figure[data-view="{clips[START].pk}"] [data-note]')).to_have_text(
        "No swimmer in this picture now"
    )
    assert stations[START].frame_of(room.number(str(clips[START].pk))) is not None
    expect(room.page.locator(f'figure[data-view="{clips[UNDER].pk}"] [data-note]')).to_be_hidden()


def test_a_loop_plays_between_its_ends(cast: Cast, clips: list[Clip], rooms: Any) -> None:
    room = rooms(cast.coach).open(clips[UNDER], f"?view={clips[UNDER].pk}&at=150")
    begin_s = room.at_s
    room.press("b")
    expect(room.page.locator("[data-loop-said]")).to_contain_text("now set where it ends")
    for _ in range(20):
        room.press("ArrowRight")
    room.page.wait_for_function(
        "n => document.querySelector('[data-room]').dataset.frame == n", arg="170"
    )
    room.press("e")
    expect(room.page.locator("[data-loop-said]")).to_contain_text("Again and again from")
    assert room.page.locator("[data-lane-strip] rect.loop").count() == 1
    room.page.evaluate(
        """() => {
          window.seen = [];
          document.querySelector("[data-room]").addEventListener(
            "room:frame", (event) => window.seen.push(event.detail.at_s));
        }"""
    )
    room.press(" ")
    room.page.wait_for_function(
        "() => window.seen.filter((at, n) => n && at < window.seen[n - 1]).length >= 2"
    )
    room.press(" ")
    seen = room.page.evaluate("window.seen")
    assert min(seen) >= begin_s - 0.001
    assert max(seen) <= begin_s + 0.40  # 21 frames of 60 a second
    room.press("x")
    expect(room.page.locator("[data-loop-said]")).to_be_empty()
    assert room.page.locator("[data-lane-strip] [data-loop]").count() == 0


def test_wheel_and_drag_step_frames(cast: Cast, clips: list[Clip], rooms: Any) -> None:
    clip = clips[UNDER]
    room = rooms(cast.coach).open(clip, f"?view={clip.pk}&at=100")
    mouse = room.page.mouse

    def over(selector: str) -> tuple[float, float]:
        box = room.page.locator(selector).bounding_box()
        return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2

    for place, frame in (("figure.main [data-window]", 101), ("[data-lane-strip]", 102)):
        mouse.move(*over(place))
        mouse.wheel(0, 100)
        room.wait_for(clip, frame)
    for place, frame in (("[data-jog]", 105), ("figure.main [data-window]", 108)):
        x, y = over(place)
        mouse.move(x, y)
        mouse.down()
        mouse.move(x + 32, y, steps=8)
        mouse.up()
        room.wait_for(clip, frame)
    assert room.told("playing") == "false"


def test_light_and_size_are_only_shown_so(cast: Cast, clips: list[Clip], rooms: Any) -> None:
    clip = clips[UNDER]
    room = rooms(cast.coach).open(clip, f"?view={clip.pk}&at=100")
    surface = room.page.locator(f'figure[data-view="{clip.pk}"] [data-surface]')
    window = room.page.locator(f'figure[data-view="{clip.pk}"] [data-window]')
    whole = surface.bounding_box()
    dark = surface.screenshot()
    room.page.locator("[data-light] summary").click()
    room.page.get_by_label("Brightness").fill("200")
    assert surface.evaluate("s => getComputedStyle(s).filter") == "brightness(2) contrast(1)"
    room.page.get_by_role("button", name="As filmed").click()
    room.page.locator("[data-light] summary").click()
    assert surface.evaluate("s => getComputedStyle(s).filter") == "none"
    assert surface.screenshot() == dark
    room.press("+", "+")
    overlay = room.page.locator(f'figure[data-view="{clip.pk}"] [data-overlay]')
    large = surface.bounding_box()
    assert large["width"] == pytest.approx(whole["width"] * 2.25, rel=0.01)
    assert overlay.bounding_box() == large  # drawings move with the picture
    x, y = (window.bounding_box()[side] + 100 for side in ("x", "y"))
    room.page.mouse.move(x, y)
    room.page.mouse.down()
    room.page.mouse.move(x + 30, y + 20, steps=4)
    room.page.mouse.up()
    moved = surface.bounding_box()
    assert (moved["x"] - large["x"], moved["y"] - large["y"]) == (
        pytest.approx(30, abs=1),
        pytest.approx(20, abs=1),
    )
    assert room.frame == 100  # it was moved, not stepped
    room.press("0")
    assert surface.bounding_box() == whole


def test_one_list_leads_to_phases_marks_and_words(
    cast: Cast, clips: list[Clip], rooms: Any
) -> None:
    from feedback.actions.mark import place_mark

    clip = clips[UNDER]
    for kind, frame in (("first-entry", 60), ("breakout", 160)):
        place_mark(
            swim=clip.swim, by=cast.coach, clip=clip, frame=frame, kind=kind, distance_m=None
        )
    say_and_send(swim=clip.swim, by=cast.coach, text="Long line.", clip=clip, frame=90)
    room = rooms(cast.coach).open(clip)
    room.press("l")
    rows = room.page.locator("[data-jumps-list] button")
    expect(rows).to_have_count(4)
    told = rows.all_inner_texts()
    assert [re.sub(r"\s+", " ", row).split(" s ", 1)[1] for row in told] == [
        "underwater phase",
        "first entry mark",
        "Long line. said",
        "head breaks surface mark",
    ]
    rows.nth(2).click()
    room.wait_for(clip, 90)
    expect(room.page.locator("[data-jumps] .sheet")).to_be_hidden()
    assert room.page.locator("[data-lane-strip] .phase").count() == 1


def test_full_screen_shows_the_stage_and_comes_back(
    cast: Cast, clips: list[Clip], rooms: Any
) -> None:
    room = rooms(cast.coach).open(clips[START])
    room.press("g")
    expect(room.page.locator(".seen")).to_have_class(re.compile("full"))
    stage = room.page.locator("[data-stage]").bounding_box()
    assert stage["height"] > 0.6 * WIDE["height"]
    assert stage["width"] > 0.95 * WIDE["width"]
    room.shoot("room-full")
    room.press("g")
    expect(room.page.locator(".seen")).not_to_have_class(re.compile("full"))


# --- on a phone -------------------------------------------------------------------------------


def films_asked(room: Room) -> list[str]:
    asked: list[str] = []
    room.page.on("request", lambda r: asked.append(r.url.rstrip("/").rsplit("/", 1)[-1]))
    return asked


def test_on_a_phone_one_small_film_comes_first_and_sizes_are_said(
    cast: Cast, clips: list[Clip], phones: Any
) -> None:
    clip, other = clips[START], clips[UNDER]
    small = {c.pk: c.files.filter(kind="video").order_by("height")[0] for c in clips}
    films = {str(f.pk) for c in clips for f in c.files.filter(kind="video")}
    room = phones(cast.tomas, saving=True)
    asked = films_asked(room)
    room.open(clip)
    fetched = [one for one in asked if one in films]
    assert fetched == [str(small[clip.pk].pk)]
    size = f"{max(0.1, small[other.pk].stored.size_bytes / 1e6):.1f} MB"
    offer = room.page.get_by_role("button", name=f"Next view: {size}. Fetch")
    expect(offer).to_be_visible()
    rest = sum(small[c.pk].stored.size_bytes for c in clips if c != clip) / 1e6
    everything = room.page.get_by_role("button", name=f"All 4 views: {rest:.1f} MB. Fetch")
    expect(everything).to_be_visible()
    room.shoot("phone-saving")
    # a swipe goes to the other view of the same instant, which offers itself
    go(room, 1.0)
    swipe(room)
    assert room.view != str(clip.pk)
    assert [one for one in asked if one in films] == fetched
    room.page.locator(f'figure[data-view="{room.view}"]').get_by_role(
        "button", name=re.compile("Fetch this view: ")
    ).click()
    room.page.wait_for_function("() => document.querySelector('[data-room]').dataset.frame !== ''")
    assert len([one for one in asked if one in films]) == 2
    room.page.get_by_role("button", name=re.compile("^All 4 views")).click()
    expect(room.page.locator("[data-offers]")).to_be_hidden()
    # the choice is kept on this device
    room.page.get_by_role("button", name="More").click()
    room.page.get_by_label("Save data").uncheck()
    room.open(clip)
    expect(room.page.locator("[data-offers]")).to_be_hidden()


def swipe(room: Room, dx: int = -160) -> None:
    box = room.page.locator("figure.main [data-window]").bounding_box()
    x, y = box["x"] + box["width"] / 2 - dx / 2, box["y"] + box["height"] / 2
    session = room.page.context.new_cdp_session(room.page)
    steps = [("touchStart", x), *(("touchMove", x + dx * n / 4) for n in range(1, 5))]
    for kind, at in steps:
        points = [{"x": at, "y": y}]
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    session.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    room.page.wait_for_timeout(300)


def test_on_a_phone_a_swipe_shows_the_same_instant_from_elsewhere(
    cast: Cast, clips: list[Clip], stations: list[Station4], phones: Any
) -> None:
    room = phones(cast.tomas).open(clips[START])
    go(room, 1.5)
    at_s = room.at_s
    shown = painted(room, stations, clips)
    for _ in range(2):
        swipe(room)
        expect(room.page.locator("[data-room]")).not_to_have_attribute("data-frame", "")
        shown += painted(room, stations, clips)
    assert len({station.number for station, _ in shown}) == 3
    assert least_excess_s(shown) == 0
    assert abs(room.at_s - at_s) < 0.07
    for _ in range(4):  # 1/16: it must still play there when the second tap comes
        room.page.locator("body").press("ArrowDown")
    room.page.locator("figure.main [data-window]").tap()
    room.page.wait_for_selector('[data-room][data-playing="true"]')
    room.page.locator("figure.main [data-window]").tap()
    room.page.wait_for_selector('[data-room][data-playing="false"]')
    assert fits(room.page)
    buttons = room.page.locator(".step-keys button").evaluate_all(
        "all => all.map(b => b.getBoundingClientRect()).map(r => [r.top, r.height])"
    )
    assert all(PHONE["height"] / 2 < top < PHONE["height"] - 48 for top, _ in buttons)
    assert min(height for _, height in buttons) >= 48
    room.shoot("phone-room")
    assert violations(room.page) == []
