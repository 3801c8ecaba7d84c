"""The pages of clocks in a real browser, on a laptop and on a phone: ties in two views by two
clicks, names of heard starts shifted and confirmed, plots and strips that fit.

axe-core is the outside witness for access; the browser's own console for the content policy.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from playwright.sync_api import Browser, Page, expect

from clinics.actions import align
from clinics.media.probe import probe
from clinics.media.sandbox import Limits
from clinics.models import (
    ClinicClock,
    ClockFit,
    Consent,
    HeardStart,
    Recording,
    StartLogEntry,
    Tie,
)
from portal.models import User
from tests.browser import fits, shot, signed_in, violations
from tests.cast import FIRST_START, Cast, make_entry, save_frame_table
from tests.matrix.footage import film

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

SIZES = {"laptop": (1280, 860), "phone": (360, 740)}
TOO_SMALL = """() => [...document.querySelectorAll('main :is(a.button, button, summary, .check)')]
    .filter(e => e.offsetParent && e.getBoundingClientRect().height < 44)
    .map(e => e.textContent.trim())"""
FRAME = 3600


@pytest.fixture
def hall(cast: Cast) -> Cast:
    """Everybody agrees; two recordings with a second of real pictures in them, and fits with
    ties that count and one that does not."""
    Consent.objects.filter(swimmer__user=cast.sol).update(ended_at=None)
    rng = np.random.default_rng(11)
    for slug, u_ms, state in (("start-side", 4.0, "sure"), ("underwater", 160.0, "look")):
        row = cast.recordings[slug]
        source = row.files.get()
        path = source.stored.local_path()
        film(path)
        source.facts = probe(path, shown_name=source.name, limits=Limits()).to_dict()
        source.save()
        save_frame_table(row.frame_table.local_path(), np.arange(25, dtype=np.int64) * FRAME)
        ClockFit.objects.filter(recording=row).update(
            u_ms=1.5 * u_ms,
            u_begin_ms=1.5 * u_ms,
            u_mid_ms=0.5 * u_ms,
            u_end_ms=1.2 * u_ms,
            state=state,
            method="starts" if state == "sure" else "passing",
            rate_ppm=23.7,
            false_match_p=2.5e-5,
            reason="" if state == "sure" else "Seen passing only: tie a start by hand.",
        )
        for key, swim in list(cast.swims.items())[:3]:
            at_s = (swim.start_at - row.clock_fit.zero_at).total_seconds()
            Tie.objects.create(
                recording=row,
                kind="start-heard" if state == "sure" else "passing",
                found_by="sound" if state == "sure" else "motion",
                swim=swim,
                expected_swim_s=None if state == "sure" else 8.0,
                pts_ticks=round((at_s + (0 if state == "sure" else 8)) * 90_000),
                u_ms=2.0 if state == "sure" else 300.0,
                residual_ms=float(rng.normal(0, u_ms / 2)) if key != "wren" else None,
                set_aside="" if key != "wren" else "+0.4 s from what the other ties say",
            )
    ClinicClock.objects.create(
        clinic=cast.clinic,
        signal={
            "hz": 1180,
            "length_s": 0.31,
            "learned_from": str(cast.recordings["start-side"].pk),
        },
    )
    return cast


@contextmanager
def opened(
    browser: Browser, server: Any, user: User, size: tuple[int, int], path: str, **more: Any
) -> Iterator[Page]:
    window = {"viewport": {"width": size[0], "height": size[1]}, "reduced_motion": "reduce"}
    context = signed_in(browser, user, server.url, locale="en-GB", **window, **more)
    page = context.new_page()
    complaints: list[str] = []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda problem: complaints.append(str(problem)))
    page.goto(server.url + path)
    page.wait_for_load_state("networkidle")
    yield page
    assert complaints == [], path
    context.close()


def heard_after(cast: Cast, count: int) -> list[HeardStart]:
    for number, name in enumerate(("Ada Moss", "Bo Ferrin", "Cleo Hart", "Dov Quist"), start=11):
        make_entry(cast.clinic, name, number, None, "")
    for swim in cast.swims.values():
        if swim.entry.clinic_id == cast.clinic.pk:
            StartLogEntry.objects.create(
                clinic=cast.clinic,
                client_id=f"line-{swim.pk}",
                entry=swim.entry,
                instant=swim.start_at,
            )
    zero_at = cast.recordings["start-side"].clock_fit.zero_at
    return [
        HeardStart.objects.create(
            clinic=cast.clinic,
            instant=zero_at + dt.timedelta(seconds=1.2 + 40 * n),
            u_ms=2,
            heard_by=3,
            score=0.9,
        )
        for n in range(count)
    ]


@pytest.mark.parametrize("name", SIZES)
def test_pages_of_clocks_fit_and_are_within_reach(
    browser: Browser, live_server: Any, hall: Cast, name: str
) -> None:
    row = hall.recordings["start-side"]
    under = hall.recordings["underwater"]
    heard_after(hall, 3)
    at = [swim.start_at - dt.timedelta(seconds=0.4) for swim in list(hall.swims.values())[:2]]
    told = [{"zero_at": one.isoformat(), "matched": 4, "of": 6} for one in at]
    ClockFit.objects.filter(recording=under).update(
        state="not-found", candidates=[one | {"false_match_p": 0.02} for one in told]
    )
    for shown, user, path in (
        ("recording", hall.checker, reverse("clinics:recording", args=[row.pk])),
        ("places", hall.checker, reverse("clinics:recording", args=[under.pk])),
        ("tie-two", hall.checker, reverse("clinics:tie-two", args=[row.pk])),
        ("recording-fit", hall.admin, reverse("clinics:recording-fit", args=[row.pk])),
        ("clinic-fit", hall.admin, reverse("clinics:clinic-fit", args=[hall.clinic.pk])),
        ("heard-starts", hall.checker, reverse("clinics:heard-starts", args=[hall.clinic.pk])),
        ("clinic", hall.checker, reverse("clinics:clinic", args=[hall.clinic.pk])),
    ):
        with opened(browser, live_server, user, SIZES[name], path) as page:
            for summary in page.locator("main summary").all():
                summary.click()
            shot(page, f"clocks-{shown}-{name}")
            assert fits(page), path
            assert page.evaluate(TOO_SMALL) == [], path
            found = Axe().run(page).response["violations"]
            assert [(v["id"], [n["html"][:120] for n in v["nodes"]]) for v in found] == [], path


def test_the_plot_is_readable_in_the_dark_and_its_table_prints_whole(
    browser: Browser, live_server: Any, hall: Cast
) -> None:
    row = hall.recordings["start-side"]
    for number in range(40):
        values = {"pts_ticks": number * 9_000, "instant": FIRST_START, "u_ms": 4}
        Tie.objects.create(recording=row, kind="slate-seen", found_by="slate", **values)
    path = reverse("clinics:recording-fit", args=[row.pk])
    with opened(browser, live_server, hall.admin, SIZES["phone"], path) as page:
        page.evaluate("document.body.classList.add('room')")
        shot(page, "clocks-recording-fit-dark")
        assert [v["id"] for v in Axe().run(page).response["violations"]] == []
        whole = "() => document.querySelector('.tie-table').clientHeight"
        inside = "() => document.querySelector('.tie-table table').offsetHeight"
        assert page.evaluate(whole) < page.evaluate(inside), "on screen it scrolls"
        page.emulate_media(media="print")
        assert page.evaluate(whole) >= page.evaluate(inside)
        assert page.locator(".tie-table tbody tr").count() == 43


def test_two_clicks_tie_the_same_moment(
    browser: Browser, live_server: Any, hall: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(align, "fit_clocks", lambda **_: [])  # what the fit makes of it: elsewhere
    one, other = hall.recordings["start-side"], hall.recordings["underwater"]
    path = reverse("clinics:tie-two", args=[one.pk]) + "?frame=3"
    with opened(browser, live_server, hall.checker, SIZES["laptop"], path) as page:
        left, right = page.locator("[data-viewer]").all()
        tie = page.get_by_role("button", name="These two frames show the same moment")
        left.locator("[data-step='1']").click()
        left.locator("[data-step='1']").click()
        right.locator("[data-step='10']").click()
        page.keyboard.press("ArrowRight")  # steps the view that was used last
        page.wait_for_function(
            "() => [...document.querySelectorAll('[data-frame-field]')]"
            ".map(e => e.value).join() === '5,14'"
        )
        assert tie.is_enabled()
        shot(page, "clocks-tie-two-chosen")
        tie.click()
        page.wait_for_url("**" + reverse("clinics:recording", args=[one.pk]) + "**")
        assert "these two frames show the same moment" in page.content()
    made = Tie.objects.get(kind="same-moment")
    assert (made.pts_ticks, made.other_recording, made.other_ticks) == (
        5 * FRAME,
        other,
        14 * FRAME,
    )


def test_the_strip_of_a_recording_leads_to_its_frames(
    browser: Browser, live_server: Any, hall: Cast
) -> None:
    row = hall.recordings["start-side"]
    Recording.objects.filter(pk=row.pk).update(duration_s=1.0)
    path = reverse("clinics:recording", args=[row.pk])
    with opened(browser, live_server, hall.checker, SIZES["laptop"], path) as page:
        water = page.locator("[role=slider]")
        box = water.bounding_box()
        assert box is not None
        water.click(position={"x": box["width"] * 0.5, "y": 40})
        page.wait_for_function("() => document.querySelector('[data-frame-field]').value === '13'")
        assert water.get_attribute("aria-valuetext") == "0:00.520"
        water.press("ArrowLeft")
        page.wait_for_function("() => document.querySelector('[data-frame-field]').value === '12'")
        page.locator(".lane-words summary").click()
        lines = page.locator(".lane-words li")
        expect(lines.first).to_contain_text(": clip, 1 Tomas Birk")
        lines.last.get_by_role("button").click()  # beyond this recording: its last frame
        page.wait_for_function("() => document.querySelector('[data-frame-field]').value === '24'")
        expect(page.locator("[data-lane-went]")).to_have_text("0:00.960")
        shot(page, "recording-strip-words")
        assert fits(page) and violations(page) == []
        water.press("ArrowLeft")
        page.get_by_role("link", name="The same moment in two views").click()
        page.wait_for_url("**/ties/two/?frame=23")


@pytest.mark.parametrize("script", [True, False], ids=["script", "no script"])
def test_names_of_heard_starts_shift_and_are_confirmed(
    browser: Browser, live_server: Any, hall: Cast, script: bool
) -> None:
    heard_after(hall, 4)
    path = reverse("clinics:heard-starts", args=[hall.clinic.pk])
    user = hall.checker

    def names(page: Page) -> list[str]:
        return page.locator("select[data-who] option:checked").all_inner_texts()

    with opened(
        browser, live_server, user, SIZES["laptop"], path, java_script_enabled=script
    ) as page:
        assert names(page) == ["11 Ada Moss", "12 Bo Ferrin", "13 Cleo Hart", "14 Dov Quist"]
        page.locator("tbody tr").nth(1).get_by_role("button", name="No start").click()
        assert names(page) == ["11 Ada Moss", "12 Bo Ferrin", "13 Cleo Hart"]
        page.locator("tbody tr").nth(2).get_by_role("button", name="12 is missing here").click()
        assert names(page) == ["11 Ada Moss", "13 Cleo Hart", "14 Dov Quist"]
        page.get_by_role("button", name="Undo the last change").click()
        assert names(page) == ["11 Ada Moss", "12 Bo Ferrin", "13 Cleo Hart"]
        row = page.locator("tbody tr").nth(2)
        row.locator("select").select_option(label="14 Dov Quist")
        if not script:
            row.get_by_role("button", name="The rest follows").click()
        page.wait_for_load_state("networkidle")
        page.wait_for_function("() => document.body.innerText.includes('nobody is left')") if (
            script
        ) else None
        assert names(page) == ["11 Ada Moss", "14 Dov Quist", "nobody"]
        shot(page, f"clocks-heard-shifted-{'script' if script else 'none'}")
        page.get_by_role("button", name="Log these 2 starts").click()
        assert "2 starts stand in the start log now." in page.content()
    lines = StartLogEntry.objects.filter(note="from the sound").order_by("instant")
    assert [line.entry.swimmer.name for line in lines if line.entry] == ["Ada Moss", "Dov Quist"]
