"""Stills and films asked for where the swim is watched, made by a worker meanwhile, and fetched.

What is fetched is read: the number painted on a frame says which one it is.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Browser, expect

from clinics.management.demo import painted
from clinics.media.sheet import row_sheet, still_sheet
from clinics.models import Clip
from feedback.actions.clip_clocks import film_of
from feedback.actions.take_along import ask
from feedback.compute.take_along import Kind, Spec
from feedback.models import TakeAlong
from portal.actions.job_worker import drain
from portal.models import AuditEntry, Job
from tests.browser import fits, violations
from tests.cast import Cast, build_cast
from tests.feedback.painted_room import Station4, put_room, room_of_run
from tests.journeys.room import WIDE, Room, rooms_of

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

START, UNDER, WINDOW, DECK = range(4)
expect.set_options(timeout=15_000)  # films are decoded meanwhile
SIZE = (640, 360)


@pytest.fixture(scope="module")
def stations(tmp_path_factory: pytest.TempPathFactory) -> list[Station4]:
    return room_of_run(tmp_path_factory, 4)


@pytest.fixture
def cast(transactional_db: None, settings: Any) -> Cast:
    settings.SECOND_FACTOR_REQUIRED = False
    return build_cast()


@pytest.fixture
def clips(cast: Cast, stations: list[Station4]) -> list[Clip]:
    return put_room(cast, stations)


@pytest.fixture
def rooms(browser: Browser, live_server: Any, size: dict[str, int]) -> Iterator[Any]:
    with rooms_of(browser, live_server.url, size) as room_of:
        yield room_of


def opened(room: Room, clip: Clip, frame: int) -> Room:
    room.open(clip, f"?view={clip.pk}&at={frame}")
    room.wait_for(clip, frame)
    room.page.locator("#take-along > summary").click()
    return room


def fetched(room: Room, folder: Path) -> Path:
    """The newest of the list."""
    with room.page.expect_download() as coming:
        room.page.get_by_role("link", name="Download").first.click()
    path = folder / coming.value.suggested_filename
    coming.value.save_as(path)
    return path


def numbers_in(path: Path, sheet: Any) -> list[int | None]:
    image = np.asarray(Image.open(path).convert("L"))
    return [
        painted.read(image[c.top : c.top + c.height, c.left : c.left + c.width])
        for c in sheet.cells
    ]


def test_a_coach_takes_along_what_is_on_screen(
    cast: Cast,
    clips: list[Clip],
    stations: list[Station4],
    rooms: Any,
    size: dict[str, int],
    tmp_path: Path,
) -> None:
    room = opened(rooms(cast.coach), clips[UNDER], 60)
    part = room.page.locator("#take-along")
    time = f"{float(stations[UNDER].edges_s[60]):.2f} s"
    expect(part.locator("[data-still-of]")).to_have_text(f"Underwater 12.5 m, {time}")
    part.get_by_role("button", name="Make the still").click()
    expect(part.locator("[data-job-words]")).to_have_text("Waiting")
    room.shoot(f"take-along-waiting-{size['width']}")
    assert fits(room.page)
    assert drain() == 1
    expect(part.get_by_role("link", name="Download")).to_be_visible()  # by itself
    still = fetched(room, tmp_path)
    assert still.name == f"Tomas Birk 14 Nov Underwater 12.5 m {time}.jpg"
    read = [stations[UNDER].frame_of(number) for number in numbers_in(still, still_sheet(SIZE))]
    assert read == [60] and room.frame == 60  # the room stood still
    assert AuditEntry.objects.filter(action="take-along.download").count() == 1
    room.shoot(f"take-along-{size['width']}")
    assert fits(room.page) and violations(room.page) == []


def test_row_and_film_go_through_the_loop(
    cast: Cast, clips: list[Clip], stations: list[Station4], rooms: Any, tmp_path: Path
) -> None:
    room = opened(rooms(cast.coach), clips[UNDER], 30)
    part = room.page.locator("#take-along")
    room.page.locator("body").press("b")
    for frame in (40, 50, 60):
        room.page.locator("body").press("Shift+ArrowRight")
        room.wait_for(clips[UNDER], frame)
    room.page.locator("body").press("e")
    edges = stations[UNDER].edges_s
    said = f"Underwater 12.5 m, from {float(edges[30]):.2f} to {float(edges[60]):.2f} s"
    expect(part.locator("[data-span-shown]")).to_have_text(said)
    part.locator("[name=count]").select_option("4")
    part.get_by_role("button", name="Make the row").click()
    expect(part.locator("[data-take-along]")).to_have_count(1)
    on_stage = room.shown()
    part.locator("[name=rate]").select_option("1/2")
    part.get_by_role("button", name="Make the film").click()
    expect(part.locator("[data-take-along]")).to_have_count(2)
    film, row = TakeAlong.objects.order_by("-created_at")
    assert [one.spec["from_frame"] for one in (film, row)] == [30, 30]
    assert [one.spec["to_frame"] for one in (film, row)] == [60, 60]
    assert film.spec["clips"][0] == str(clips[UNDER].pk)
    assert set(film.spec["clips"]) == set(on_stage) and film.spec["rate"] == "1/2"
    part.locator("[data-take-along]").first.get_by_role("button", name="Cancel").click()
    expect(part.get_by_text("Cancelled")).to_be_visible()
    drain()
    expect(part.get_by_role("link", name="Download")).to_have_count(1)
    read = numbers_in(fetched(room, tmp_path), row_sheet(SIZE, 4))
    assert [stations[UNDER].frame_of(number) for number in read] == [30, 40, 50, 60]
    assert Job.objects.get(subject_id=film.pk).state == Job.State.CANCELLED
    part.get_by_role("button", name="Take away: Film").click()
    expect(part.locator("[data-take-along]")).to_have_count(1)
    part.get_by_role("button", name="Begin here").click()
    said = f"Underwater 12.5 m, from {float(edges[60]):.2f} to {float(edges[-2]):.2f} s"
    expect(part.locator("[data-span-shown]")).to_have_text(said)


def test_a_still_without_script(
    cast: Cast, clips: list[Clip], rooms: Any, live_server: Any, size: dict[str, int]
) -> None:
    room = rooms(cast.tomas, java_script_enabled=False)
    where = f"/swims/{clips[WINDOW].swim_id}/?view={clips[WINDOW].pk}&at=7"
    room.page.goto(live_server.url + where)
    room.page.locator("#take-along > summary").click()
    room.page.get_by_role("button", name="Make the still").click()
    expect(room.page.get_by_role("heading", level=1)).to_have_text(
        "Tomas Birk's swim, to take along"
    )
    spec = TakeAlong.objects.get().spec
    assert (spec["clips"], spec["from_frame"]) == ([str(clips[WINDOW].pk)], 7)
    drain()
    room.page.reload()
    room.shoot(f"take-along-page-{size['width']}")
    expect(room.page.get_by_role("link", name="Download")).to_be_visible()
    assert fits(room.page)


def test_the_film_counts_frames_as_the_room_does(
    cast: Cast, clips: list[Clip], rooms: Any, size: dict[str, int]
) -> None:
    """The same rule in two languages: the page's clock and the one that films are made by."""
    if size is not WIDE:
        pytest.skip("numbers have no width")
    room = rooms(cast.coach).open(clips[START])
    spec = Spec(Kind.STILL, (str(clips[START].pk),), ("x",), 0, 0)
    ask(swim=cast.swims["tomas"], by=cast.coach, spec=spec)
    rng = np.random.default_rng(5)
    for clip in clips:
        clock = film_of(Clip.objects.get(pk=clip.pk), cast.coach).clock
        last = len(clock.ticks) - 1
        begins = [clock.begins_s(frame) for frame in range(last + 1)]
        edges = [*begins, clock.ends_s(last)]
        instants = [*rng.uniform(edges[0] - 0.1, edges[-1] + 0.1, 400), *edges]
        told = {
            "zero_s": clock.zero_s,
            "rate": clock.rate,
            "first_ticks": clock.first_ticks,
            "ticks": clock.ticks.tolist(),
        }
        found = room.page.evaluate(
            """async ({ told, instants, source }) => {
              const { frameOf, makeClock, middleS } = await import(source);
              const clock = makeClock(told);
              const frames = instants.map(at => frameOf(clock, at) ?? -1);
              return { frames, middles: told.ticks.map((_, n) => middleS(clock, n)) };
            }""",
            {"told": told, "instants": instants, "source": "/static/feedback/room/clock.js"},
        )
        assert found["frames"] == [clock.frame_of(at) for at in instants]
        middles = [clock.middle_s(frame) for frame in range(last + 1)]
        assert np.abs(np.array(found["middles"]) - middles).max() < 1e-9
