"""The start log on a phone in a real browser, without a network in between; and how the pages
of clinic and plan fit a phone and a screen. Axe judges what a page owes to everybody."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Page, Route, expect

from clinics.models import Clinic, Consent, DayWish, Duty, StartLogEntry, StationWord, Swim
from portal.models import User
from tests.browser import fits, opener, shot, violations
from tests.cast import Cast, make_entry

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]
PHONE, SCREEN = {"width": 360, "height": 740}, {"width": 1280, "height": 900}


@pytest.fixture
def open_page(browser: Browser, live_server: Any, settings: Any) -> Iterator[Any]:
    settings.SECOND_FACTOR_REQUIRED = False
    with opener(browser, live_server.url, PHONE) as opened:
        yield opened


@pytest.fixture
def log_path(cast: Cast) -> str:
    """Today; three swimmers still to come, of whom the last has not agreed to be filmed."""
    Clinic.objects.filter(pk=cast.clinic.pk).update(date=timezone.localdate())
    for number, name in ((21, "Liv Marchetti"), (22, "Oskar Brandt"), (23, "Noor Castellan")):
        make_entry(cast.clinic, name, number, None, "")
    Consent.objects.filter(swimmer__name="Noor Castellan").delete()
    for n in range(1, 4):
        StartLogEntry.objects.create(
            clinic=cast.clinic,
            client_id=f"earlier-{n}",
            entry=cast.clinic.entries.get(number=n),
            instant=timezone.now() - dt.timedelta(hours=1),
            outcome="no-show",
        )
    return f"/clinics/{cast.clinic.pk}/starts/"


def small_targets(page: Page) -> list[str]:
    """What a wet thumb would miss: 48 px each way on deck pages. A box that is ticked counts with
    its label, a link within a sentence not at all (WCAG 2.5.8)."""
    return page.evaluate(
        """() => [...document.querySelectorAll("button, a, summary, label.check, input")]
            .filter((e) => e.offsetParent && !e.matches(".skip, [type=hidden], label input"))
            .filter((e) => {
              const {width, height} = e.getBoundingClientRect();
              return width < 47.5 || height < 47.5;
            })
            .map((e) => e.outerHTML.slice(0, 80))"""
    )


def faint_texts(page: Page) -> list[str]:
    """Texts that stand out from their ground less than 7 to 1 (WCAG 2.2, 1.4.6; the ratio and the
    relative luminance as defined there), from computed colours, disabled controls included."""
    return page.evaluate(
        """() => {
          const rgba = (text) => {
            const [r, g, b, a = 1] = text.match(/[\\d.]+/g).map(Number);
            return [r, g, b, a];
          };
          const over = ([r, g, b, a], under) =>
            [r, g, b].map((value, n) => value * a + under[n] * (1 - a));
          const ground = (e) => {
            if (!e) return [255, 255, 255];
            return over(rgba(getComputedStyle(e).backgroundColor), ground(e.parentElement));
          };
          const light = (colour) => {
            const [r, g, b] = colour.map((value) => value / 255)
              .map((c) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4));
            return 0.2126 * r + 0.7152 * g + 0.0722 * b;
          };
          const opacity = (e) => Number(getComputedStyle(e).opacity);
          const faded = (e) => (e ? opacity(e) * faded(e.parentElement) : 1);
          const found = [];
          const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
          while (walk.nextNode()) {
            const text = walk.currentNode.textContent.trim();
            const e = walk.currentNode.parentElement;
            if (!text || !e.offsetParent || e.closest("script, template, .banner, .skip")) continue;
            const behind = ground(e);
            const [r, g, b, a] = rgba(getComputedStyle(e).color);
            const front = over([r, g, b, a * faded(e)], behind);
            const [high, low] = [light(front), light(behind)].sort((x, y) => y - x);
            const ratio = (high + 0.05) / (low + 0.05);
            if (ratio < 7) found.push(`${text}: ${ratio.toFixed(2)}`);
          }
          return found;
        }"""
    )


@pytest.fixture
def open_log(open_page: Any, log_path: str) -> Any:
    """The log on the crew's phone, once its script has heard from the server."""

    def opened(person: User, query: str = "") -> Page:
        page = open_page(log_path + query, person)
        expect(page.locator("[data-stations-sum]")).to_contain_text("of 2")
        return page

    return opened


def away(page: Page, name: str = "AWAY") -> None:
    """Lane clear and underwater seen, then the start; returns when the log shows it."""
    first = page.locator("[data-lines] > li").first
    before = first.get_attribute("data-client-id")
    page.get_by_role("button", name="I have seen both").click()
    page.get_by_role("button", name=name, exact=True).click()
    expect(first).not_to_have_attribute("data-client-id", before or "")


def sent(page: Page) -> None:
    """What the log shows has arrived."""
    expect(page.locator("[data-net]")).to_be_visible()
    expect(page.locator("[data-net]")).to_have_text("All is sent.")


def test_away_waits_for_lane_and_underwater_and_then_for_eight_seconds(
    cast: Cast, open_log: Any
) -> None:
    page = open_log(cast.crew)
    expect(page.locator("h1 [data-name]")).to_have_text("Liv Marchetti")
    assert fits(page) and violations(page) == []
    assert small_targets(page) == [] and faint_texts(page) == []
    shot(page, "start-log-360")
    button = page.locator("[data-away]")
    expect(button).to_be_disabled()
    page.get_by_role("button", name="I have seen both").click()
    expect(button).to_be_enabled()
    page.get_by_role("button", name="Seen at").click()  # taken back
    expect(button).to_be_disabled()

    before = timezone.now()
    away(page)
    expect(page.locator("h1 [data-name]")).to_have_text("Oskar Brandt")
    page.get_by_role("button", name="I have seen both").click()
    expect(button).to_be_disabled()  # for eight seconds
    expect(button).to_contain_text("away,")
    assert faint_texts(page) == []
    sent(page)
    swim = Swim.objects.get(entry__number=21)
    assert abs((swim.start_at - before).total_seconds()) < 3
    page.reload()  # does not shorten it
    page.get_by_role("button", name="I have seen both").click()
    expect(button).to_contain_text("away,")
    expect(button).to_have_text("AWAY", timeout=12_000)
    expect(button).to_be_enabled()


def test_taps_are_kept_without_a_network_and_sent_once(cast: Cast, open_log: Any) -> None:
    page = open_log(cast.crew)
    page.context.set_offline(True)
    page.get_by_role("button", name="Not here").click()
    expect(page.locator("[data-net]")).to_contain_text("No network. 1 to send, kept on this phone")
    assert fits(page) and violations(page) == [] and faint_texts(page) == []
    shot(page, "start-log-no-network-360")
    assert not StartLogEntry.objects.filter(entry__number=21).exists()
    page.context.set_offline(False)
    sent(page)
    page.reload()
    expect(page.locator("h1 [data-name]")).to_have_text("Oskar Brandt")
    assert StartLogEntry.objects.get(entry__number=21).outcome == "no-show"
    assert not Swim.objects.filter(entry__number=21).exists()


def test_any_line_can_be_taken_back_noted_or_gone_again(cast: Cast, open_log: Any) -> None:
    page = open_log(cast.crew)
    away(page)
    page.get_by_role("button", name="Not here").click()
    expect(page.locator("h1 [data-name]")).to_have_text("Noor Castellan")
    page.get_by_role("button", name="Undo last").click()
    expect(page.locator("h1 [data-name]")).to_have_text("Oskar Brandt")
    sent(page)
    assert StartLogEntry.objects.get(entry__number=22).undone_at is not None

    line = page.locator("[data-lines] > li", has_text="Liv Marchetti")
    line.get_by_role("button", name="Change").click()
    assert fits(page) and small_targets(page) == []
    line.get_by_label("Note").fill("cap slipped")
    line.get_by_role("button", name="Keep the note").click()
    expect(line).to_contain_text("cap slipped")
    line.get_by_role("button", name="Change").click()
    line.get_by_role("button", name="Second go").click()
    page.locator("summary", has_text="Another swimmer").click()
    expect(page.locator("[data-others] li", has_text="Liv Marchetti")).to_contain_text("second go")
    sent(page)
    assert StartLogEntry.objects.get(entry__number=21).note == "cap slipped"
    assert DayWish.objects.get(entry__number=21).kind == "second-go"

    line.get_by_role("button", name="Change").click()
    line.get_by_role("button", name="Undo this line").click()
    expect(line).to_contain_text("undone")
    expect(page.locator("h1 [data-name]")).to_have_text("Liv Marchetti")
    sent(page)
    assert not Swim.objects.filter(entry__number=21).exists()


def test_called_back_right_after_the_signal_is_no_swim_and_goes_again(
    cast: Cast, open_log: Any
) -> None:
    page = open_log(cast.crew)
    away(page)
    page.get_by_role("button", name="21 called back").click()
    expect(page.locator("h1 [data-name]")).to_have_text("Liv Marchetti")
    expect(page.get_by_role("button", name="AWAY", exact=True)).to_be_visible()  # not locked
    sent(page)
    said = StartLogEntry.objects.filter(entry__number=21).order_by("outcome")
    assert [(line.outcome, line.undone_at is None) for line in said] == [
        ("away", False),
        ("false-start", True),
    ]
    assert said[0].instant == said[1].instant and not Swim.objects.filter(entry__number=21).exists()


def test_who_goes_later_or_comes_late_comes_again(cast: Cast, open_log: Any) -> None:
    page = open_log(cast.crew)
    page.get_by_role("button", name="Goes later").click()
    expect(page.locator("h1 [data-name]")).to_have_text("Oskar Brandt")
    page.get_by_role("button", name="Comes late").click()
    assert fits(page) and small_targets(page) == []
    page.get_by_role("button", name="20", exact=True).click()
    expect(page.locator("h1 [data-name]")).to_have_text("Noor Castellan")
    expect(page.locator("[data-later]")).to_contain_text("22 Oskar Brandt")
    shot(page, "start-log-late-360")
    sent(page)
    wish = DayWish.objects.get(entry__number=22)
    assert wish.from_at is not None
    assert 1100 < (wish.from_at - timezone.now()).total_seconds() < 1205
    page.get_by_role("button", name="Not here").click()
    expect(page.locator("[data-why]")).to_have_text("Was passed over before")
    expect(page.locator("h1 [data-name]")).to_have_text("Liv Marchetti")
    page.get_by_role("button", name="Is here").click()
    expect(page.locator("[data-later-part]")).to_be_hidden()
    sent(page)
    assert not DayWish.objects.exists()


def test_who_has_not_agreed_is_away_without_being_filmed(cast: Cast, open_log: Any) -> None:
    page = open_log(cast.crew, "?number=23")
    expect(page.locator("[data-not-agreed]")).to_contain_text("Has not agreed to be filmed.")
    expect(page.locator("[data-not-agreed]")).to_contain_text("as of ")
    assert violations(page) == [] and faint_texts(page) == []
    shot(page, "start-log-not-agreed-360")
    page.get_by_role("button", name="Note").click()
    page.get_by_label("Note, goes with the next tap").fill("waits at the wall")
    page.keyboard.press("Enter")  # presses nothing
    away(page, "AWAY, not filmed")
    sent(page)
    line = StartLogEntry.objects.get(entry__number=23)
    assert (line.outcome, line.note, line.consent_shown) == (
        "not-filmed",
        "waits at the wall",
        False,
    )
    assert line.consent_known_at is not None
    assert not Swim.objects.filter(entry__number=23).exists()


def test_a_go_can_be_left_out_of_the_film_and_somebody_can_be_nobody(
    cast: Cast, open_log: Any
) -> None:
    page = open_log(cast.crew)
    page.get_by_role("button", name="Note").click()
    page.get_by_label("This go is not filmed").check()
    away(page, "AWAY, not filmed")
    sent(page)
    assert StartLogEntry.objects.get(entry__number=21).outcome == "not-filmed"
    page.locator("summary", has_text="Another swimmer").click()
    page.get_by_role("link", name="Somebody, number not known").click()
    expect(page.get_by_role("button", name="AWAY", exact=True)).to_be_visible(timeout=12_000)
    away(page)
    expect(page.locator("[data-lines] > li").first).to_contain_text("number not known")
    sent(page)
    assert StartLogEntry.objects.get(entry=None).outcome == "away"


def test_a_line_that_is_not_taken_stays_until_a_person_takes_it_off(
    cast: Cast, open_log: Any
) -> None:
    page = open_log(cast.crew)
    expect(page.locator("h1 [data-name]")).to_have_text("Liv Marchetti")
    StartLogEntry.objects.filter(entry__number=21).delete()
    cast.clinic.entries.filter(number=21).delete()  # meanwhile, at the desk
    away(page)
    refused = page.locator("[data-refused]")
    expect(refused).to_contain_text("number 21 is not in the running order")
    assert fits(page) and violations(page) == [] and faint_texts(page) == []
    shot(page, "start-log-refused-360")
    refused.get_by_role("button", name="Take off this phone").click()
    expect(refused).to_be_visible()
    refused.get_by_role("button", name="It is nowhere else").click()
    expect(refused).to_be_hidden()


def test_contradictions_are_said_and_settled_by_taking_one_back(cast: Cast, open_log: Any) -> None:
    page = open_log(cast.crew)
    StartLogEntry.objects.create(
        clinic=cast.clinic,
        client_id="other-phone-1",
        entry=cast.clinic.entries.get(number=21),
        instant=timezone.now(),
        outcome="no-show",
    )
    away(page)
    open_ones = page.locator("[data-conflicts]")
    expect(open_ones).to_be_visible()
    assert fits(page) and violations(page) == [] and small_targets(page) == []
    shot(page, "start-log-conflict-360")
    open_ones.get_by_role("button", name="did not come").click()
    expect(open_ones).to_be_hidden()
    sent(page)
    assert StartLogEntry.objects.get(client_id="other-phone-1").undone_at is not None
    assert Swim.objects.filter(entry__number=21).count() == 1


def test_the_crew_says_how_a_camera_is(cast: Cast, open_log: Any) -> None:
    page = open_log(cast.crew)
    page.locator("summary", has_text="Cameras").click()
    station = page.locator("[data-stations] > li", has_text=cast.underwater.name)
    station.get_by_role("button", name="Rolling").click()
    expect(station).to_contain_text("rolling since")
    expect(page.locator("[data-stations-sum]")).to_have_text("1 of 2 rolling")
    station.get_by_role("button", name="Battery").click()
    expect(station).to_contain_text("battery low")
    assert fits(page) and violations(page) == [] and small_targets(page) == []
    words = StationWord.objects.filter(station=cast.underwater).order_by("at")
    for _ in range(50):
        if [word.state for word in words.all()][-1:] == ["battery"]:
            break
        page.wait_for_timeout(200)
    assert [word.state for word in words.all()][-1:] == ["battery"]


def test_a_sign_that_is_old_says_so(cast: Cast, open_page: Any, log_path: str) -> None:
    def older(route: Route) -> None:
        answer = route.fetch()
        told = answer.json()
        for entry in told["entries"]:
            entry["agrees_at_ms"] -= 21 * 60_000
        route.fulfill(response=answer, json=told)

    page = open_page("/notice/", cast.crew)
    page.route("**/state.json*", older)
    page.goto(log_path)
    expect(page.locator("[data-agrees]")).to_contain_text("21 min ago: ask the swimmer")
    assert faint_texts(page) == [] and violations(page) == []


@pytest.mark.parametrize("size", [PHONE, SCREEN], ids=["360", "1280"])
def test_pages_of_clinic_and_plan(
    cast: Cast, open_page: Any, size: dict[str, int], request: pytest.FixtureRequest
) -> None:
    nameless = User.objects.create_user("somebody.without.a.name@harbourlanemasters.example")
    Duty.objects.create(clinic=cast.clinic, user=nameless, kind="camera")
    for name, path, person in (
        ("clinics", "/clinics/", cast.admin),
        ("clinic", f"/clinics/{cast.clinic.pk}/", cast.checker),
        ("plan", f"/clinics/{cast.clinic.pk}/plan/", cast.admin),
        ("clinic-new", "/clinics/new/", cast.admin),
        ("roster", f"/clinics/{cast.clinic.pk}/roster/", cast.admin),
        ("log-file", f"/clinics/{cast.clinic.pk}/starts/file/", cast.crew),
    ):
        page = open_page(path, person, size)
        assert fits(page), name
        assert violations(page) == [], name
        shot(page, f"{name}-{size['width']}")
