"""Stations moved on the plan in a real browser: by mouse, by finger, by keys, and turned; undone;
without the server; how the pages fit a phone and a screen. The script's own geometry is tried
against the server's (clinics/compute), which has its outside evidence in test_sight.py and
test_plan_drawing.py. Axe judges what a page owes to everybody."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from clinics.actions.stations_seen import stand_of
from clinics.compute.plan_drawing import moved, reach_m, snapped
from clinics.compute.sight import Pool, Stand, sight_of
from clinics.compute.sight_cones import cone
from clinics.models import Camera, Station, VenueSheet
from tests.browser import fits, opener, shot, violations
from tests.cast import Cast

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]
PHONE, SCREEN = {"width": 360, "height": 740}, {"width": 1280, "height": 900}
SAVED = "[data-plan-moves][aria-busy=false]"


@pytest.fixture
def open_page(browser: Browser, live_server: Any, settings: Any) -> Iterator[Any]:
    settings.SECOND_FACTOR_REQUIRED = False
    with opener(browser, live_server.url, SCREEN) as opened:
        yield opened


@pytest.fixture
def path(cast: Cast) -> str:
    """Start side at 3 m, underwater at the second rope, a turn window in a corner of the hall."""
    Station.objects.filter(pk=cast.underwater.pk).update(y_m=5.0, angle_deg=45.0)
    Station.objects.create(
        clinic=cast.clinic,
        slug="turn-window",
        name="Turn window",
        kind="turn-window",
        order=3,
        x_m=25.0,
        y_m=1.25,
        z_m=-0.5,
    )
    VenueSheet.objects.create(clinic=cast.clinic, lanes=5, ropes_out=[1])
    return f"/clinics/{cast.clinic.pk}/plan/stations/"


def mark(page: Page, station: Station) -> Locator:
    return page.locator(f'[data-station="{station.pk}"]:visible')


def middle(locator: Locator) -> tuple[float, float]:
    box = locator.bounding_box()
    assert box is not None
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def place(station: Station) -> tuple[float, float]:
    station.refresh_from_db()
    return station.x_m, station.y_m


def px_per_m(page: Page) -> float:
    return float(
        page.evaluate(
            """() => [...document.querySelectorAll("[data-plan-svg]")]
                .find((svg) => svg.getClientRects().length).getScreenCTM().a"""
        )
    )


def saved(page: Page) -> None:
    """What was moved is on the server, and drawn anew by it."""
    page.wait_for_function(
        """() => document.querySelector("[data-plan-moves]").ariaBusy === "false"
            && !document.querySelector("[data-station][transform]")"""
    )


def test_a_station_is_dragged_with_the_mouse_and_what_is_found_follows(
    cast: Cast, open_page: Any, path: str
) -> None:
    page = open_page(path, cast.admin)
    told = page.locator(f'[data-part="told-{cast.underwater.pk}"]')
    expect(told).to_contain_text("Under water this lens sees 2.25 m at 3.75 m")
    expect(told).to_contain_text("Go to the rope between lanes 3 and 4, or set the lens wider")
    assert violations(page) == [] and fits(page)
    shot(page, "stations-1280")

    x, y = middle(mark(page, cast.underwater).locator(".mark"))
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 10, y + 1.0 * px_per_m(page), steps=4)
    readout = page.locator("[data-plan-readout]")
    expect(readout).to_contain_text("Underwater 12.5 m:")
    page.mouse.move(x, y + 2.5 * px_per_m(page), steps=4)
    expect(readout).to_contain_text("In picture 3.7")  # 2 · 6.25 · tan 16.7°, as it moves
    page.mouse.up()
    saved(page)
    at = place(cast.underwater)
    assert at == (pytest.approx(12.5, abs=0.1), pytest.approx(7.5, abs=0.1))
    expect(told).to_contain_text("Rope 2/3 hangs between this camera and the swum lane")
    expect(told).not_to_contain_text("about 2.3 m. Go")
    expect(page.locator(f"#place-{cast.underwater.pk}-y_m")).to_have_value(f"{at[1]:g}")

    page.get_by_role("button", name="Undo: Underwater 12.5 m back to 12.5 m along").click()
    saved(page)
    assert place(cast.underwater) == (12.5, 5.0)
    expect(told).to_contain_text("sees 2.25 m at 3.75 m")


def test_arrow_keys_move_and_a_run_of_them_is_one_move(
    cast: Cast, open_page: Any, path: str
) -> None:
    page = open_page(path, cast.admin)
    mark(page, cast.start_side).focus()
    for key in ("ArrowRight", "ArrowRight", "Shift+ArrowRight", "ArrowUp"):
        page.keyboard.press(key)
    expect(page.locator("[data-plan-readout]")).to_contain_text("4.2 m along, -2.1 m across")
    saved(page)
    assert place(cast.start_side) == (4.2, -2.1)
    expect(mark(page, cast.start_side)).to_be_focused()
    name = mark(page, cast.start_side).get_attribute("aria-label")
    assert name == "Start side, station 1: 4.2 m along, -2.1 m across"
    page.keyboard.press("Shift+ArrowDown")
    page.keyboard.press("Shift+ArrowDown")
    page.keyboard.press("Shift+ArrowDown")
    saved(page)
    assert place(cast.start_side) == (4.2, 0.0)  # at the edge: it stands on the deck
    page.keyboard.press("Control+z")
    saved(page)
    page.keyboard.press("Control+z")
    page.wait_for_function("() => !document.querySelector('[data-plan-undo]')")
    assert place(cast.start_side) == (3.0, -2.0)


def test_a_camera_is_turned_by_keys_and_by_its_ring(cast: Cast, open_page: Any, path: str) -> None:
    page = open_page(path, cast.admin)
    mark(page, cast.underwater).focus()
    knob = page.locator(f'[data-handle="{cast.underwater.pk}"]:visible')
    knob.focus()
    page.keyboard.press("Shift+ArrowRight")
    page.keyboard.press("ArrowLeft")
    expect(page.locator("[data-plan-readout]")).to_contain_text("looks towards -81°")
    saved(page)
    cast.underwater.refresh_from_db()
    assert cast.underwater.bearing_deg == -81.0
    x, y = middle(knob.locator(".knob"))
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 400, middle(mark(page, cast.underwater).locator(".mark"))[1], steps=5)
    page.mouse.up()
    saved(page)
    cast.underwater.refresh_from_db()
    assert cast.underwater.bearing_deg == pytest.approx(0.0, abs=1.0)
    shot(page, "stations-turned-1280")
    told = page.locator(f'[data-part="told-{cast.underwater.pk}"]')
    expect(told).to_contain_text("This camera sees nothing of the swum lane.")
    assert violations(page) == []
    knob.focus()
    page.keyboard.press("Delete")
    saved(page)
    cast.underwater.refresh_from_db()
    assert cast.underwater.bearing_deg is None


def test_a_finger_drags_a_turn_window_which_snaps_to_the_wall(
    cast: Cast, open_page: Any, path: str
) -> None:
    """Touch as the browser's protocol has it: what a page cannot tell from a finger."""
    page = open_page(path, cast.admin, PHONE, has_touch=True, is_mobile=True)
    window = cast.clinic.stations.get(slug="turn-window")
    shot(page, "stations-360")
    assert fits(page) and violations(page) == []
    page.locator(".plan-sizes").evaluate("(plan) => plan.scrollIntoView({ block: 'center' })")
    x, y = middle(mark(page, window).locator(".mark"))
    scale = px_per_m(page)
    touch = page.context.new_cdp_session(page)

    def send(kind: str, *points: tuple[float, float]) -> None:
        at = [{"x": px, "y": py} for px, py in points]
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": at})

    top = page.evaluate("scrollY")
    send("touchStart", (x, y))
    for part in (0.25, 0.5, 0.75, 1.0):
        send("touchMove", (x - part * 0.2 * scale - 8 * (part < 1), y + part * 3.0 * scale))
    send("touchEnd")
    saved(page)
    assert place(window) == (25.0, pytest.approx(4.25, abs=0.15))
    assert page.evaluate("scrollY") == top  # the page did not go along
    page.get_by_label("Larger, to push along").check()
    assert fits(page)
    assert px_per_m(page) > 1.5 * scale
    shot(page, "stations-larger-360")


def test_without_the_server_a_move_stays_on_the_plan_and_goes_later(
    cast: Cast, open_page: Any, path: str
) -> None:
    page = open_page(path, cast.admin)
    page.context.set_offline(True)
    mark(page, cast.start_side).focus()
    page.keyboard.press("Shift+ArrowRight")
    expect(page.get_by_role("alert")).to_contain_text("Not saved")
    page.context.set_offline(False)
    assert place(cast.start_side) == (3.0, -2.0)
    page.get_by_role("button", name="Try to save again").click()
    saved(page)
    expect(page.get_by_role("alert")).to_be_hidden()
    assert place(cast.start_side) == (4.0, -2.0)
    page.context.clear_cookies(name="session")
    page.keyboard.press("Shift+ArrowRight")
    mark(page, cast.start_side).press("Shift+ArrowRight")
    expect(page.get_by_role("alert")).to_contain_text("you are signed out")


def test_who_may_not_change_the_plan_has_nothing_to_drag(
    cast: Cast, open_page: Any, path: str
) -> None:
    page = open_page(path, cast.coach)
    expect(page.get_by_role("img", name="The pool to scale")).to_be_visible()
    assert page.locator("[data-plan-moves], [data-place], .handle").count() == 0
    assert violations(page) == []


# --- the script's geometry is the server's -----------------------------------------------------


def some_stands(count: int) -> list[tuple[Stand, Pool]]:
    """Stations of all kinds, in and around pools, as usual and turned anywhere."""
    draw = random.Random(20)
    found = []
    for n in range(count):
        kind = ("start-side", "underwater", "turn-window", "deck")[n % 4]
        lane_m = draw.choice((1.8, 2.0, 2.5))
        pool = Pool(draw.choice((22.86, 25.0, 33.33, 50.0)), draw.randint(1, 10), lane_m)
        wet = kind in ("underwater", "turn-window")
        stand = Stand(
            key=str(n),
            kind=kind,
            x_m=round(draw.uniform(-3, pool.course_m + 3), 2),
            y_m=round(draw.uniform(-3, pool.width_m + 3), 2),
            z_m=-0.5 if wet else 1.6,
            angle_deg=draw.choice((20.0, 45.0, 60.0, 94.0, 120.0)),
            bearing_deg=draw.choice((None, None, round(draw.uniform(-180, 180), 1))),
        )
        walls = (0.0, pool.course_m, 0.9, pool.course_m - 0.25)
        found.append((replace(stand, x_m=draw.choice((stand.x_m, *walls))), pool))
    return found


def corners(polygon: Any) -> list[tuple[float, float]]:
    """Without those that rounding doubles where a camera stands at the water's edge."""
    found: list[tuple[float, float]] = []
    for x, y in polygon:
        if not any(abs(x - x0) + abs(y - y0) < 1e-6 for x0, y0 in found):
            found.append((x, y))
    return found


def for_script(stand: Stand, pool: Pool) -> dict[str, Any]:
    sizes = {"course": pool.course_m, "lane": pool.lane_m, "deck": pool.deck_m}
    names = ("kind", "x_m", "y_m", "z_m")
    told = {name.removesuffix("_m"): getattr(stand, name) for name in names}
    told |= {"angle": stand.angle_deg, "port": stand.through.value, "bearing": stand.bearing_deg}
    return {"pool": {**sizes, "width": pool.width_m}, "stand": told}


def test_the_scripts_cones_and_places_are_the_servers(
    cast: Cast, open_page: Any, path: str
) -> None:
    page = open_page(path, cast.admin)
    cases = some_stands(400)
    draw = random.Random(21)
    goals = [(draw.uniform(-9, 60), draw.uniform(-9, 30)) for _case in cases]
    asked = [
        {**for_script(stand, pool), "to": goal}
        for (stand, pool), goal in zip(cases, goals, strict=True)
    ]
    answers = page.evaluate(
        """async (cases) => {
            const sight = await import("/static/clinics/plan-sight.js");
            const places = await import("/static/clinics/plan-place.js");
            return cases.map(({ stand, pool, to }) => {
              const there = places.moved(stand, ...to, pool);
              return {
                sight: sight.sightOf(stand, pool),
                reach: sight.reachOf(stand, pool),
                cone: sight.coneOf(stand, pool),
                moved: [there.x, there.y],
                snapped: [places.snapped(there, pool).x, places.snapped(there, pool).y],
              };
            });
        }""",
        asked,
    )
    for (stand, pool), (x_m, y_m), told in zip(cases, goals, answers, strict=True):
        seen = sight_of(stand, pool)
        assert told["sight"]["bearing"] == pytest.approx(seen.bearing_deg)
        assert told["sight"]["angle"] == pytest.approx(seen.plan_angle_deg)
        assert told["sight"]["distance"] == pytest.approx(seen.distance_m)
        assert told["sight"]["width"] == pytest.approx(seen.width_m)
        assert told["reach"] == pytest.approx(reach_m(stand, pool))
        expected = cone(stand, pool, reach_m=reach_m(stand, pool)).polygon
        kept = corners(expected)
        assert corners(told["cone"]) == [pytest.approx(corner, abs=1e-6) for corner in kept]
        there = moved(stand, x_m - stand.x_m, y_m - stand.y_m, pool)
        assert told["moved"] == pytest.approx([there.x_m, there.y_m], abs=0.0101)
        wall = snapped(there, pool)
        assert told["snapped"] == pytest.approx([wall.x_m, wall.y_m], abs=0.0101)


@pytest.mark.parametrize("size", [PHONE, SCREEN], ids=["360", "1280"])
def test_pages_of_camera_and_kit(
    cast: Cast, open_page: Any, path: str, size: dict[str, int], request: pytest.FixtureRequest
) -> None:
    Camera.objects.get_or_create(station=cast.underwater, name="Sub camera")
    Station.objects.filter(pk=cast.underwater.pk).update(card_gb=8, battery_min=60)
    for name in ("", "kit/"):
        page = open_page(f"/stations/{cast.underwater.pk}/{name}", cast.admin, size)
        assert fits(page), name
        assert violations(page) == [], name
        shot(page, f"station-{name.strip('/') or 'camera'}-{size['width']}")
    small = page.evaluate(
        """() => [...document.querySelectorAll("main button, main a, main summary")]
            .filter((e) => e.offsetParent && e.getBoundingClientRect().height < 43.5)
            .map((e) => e.textContent.trim())"""
    )
    assert [text for text in small if text not in ("Autumn clinic", "Stations")] == []


def test_a_tick_is_kept_without_loading_the_page_anew(
    cast: Cast, open_page: Any, path: str
) -> None:
    page = open_page(f"/stations/{cast.underwater.pk}/kit/", cast.crew, PHONE)
    page.evaluate("window.stayed = true")
    line = page.get_by_role("button", name="packed: Battery, full")
    line.click()
    expect(line).to_have_attribute("aria-pressed", "true")
    expect(line).to_be_focused()
    expect(page.locator(".kit-who")).to_contain_text("packed, Petra Voss")
    assert cast.underwater.kit_ticks.get().by == cast.crew
    assert page.evaluate("window.stayed")
    line.click()
    expect(line).to_have_attribute("aria-pressed", "false")
    assert not cast.underwater.kit_ticks.exists()


def test_the_kit_of_each_kind_prints_on_one_page(cast: Cast, open_page: Any, path: str) -> None:
    for kind in Station.Kind.values:
        Station.objects.filter(pk=cast.underwater.pk).update(kind=kind)
        page = open_page(f"/stations/{cast.underwater.pk}/kit/", cast.admin)
        page.emulate_media(media="print")
        shot(page, f"kit-print-{kind}")
        for paper in ("A4", "Letter"):
            pdf = page.pdf(format=paper, prefer_css_page_size=paper == "A4")
            assert pdf.count(b"/Type /Page\n") == 1, (kind, paper)


def test_stand_of_takes_the_usual_angle_only_where_nobody_said_one(cast: Cast) -> None:
    assert stand_of(Station(kind="deck", x_m=0, y_m=0, angle_deg=None)).angle_deg == 60.0
    assert stand_of(Station(kind="deck", x_m=0, y_m=0, angle_deg=20.0)).angle_deg == 20.0
