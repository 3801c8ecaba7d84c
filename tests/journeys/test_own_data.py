"""What a swimmer controls, on a phone: answer by a link, withdraw, see who saw, have all erased;
and the club's admin at a desk beside it. Also at the pool without a network."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Browser, BrowserContext, Page, expect

from clinics.actions.consent_ask import make_link
from clinics.actions.consent_texts import publish_defaults
from clinics.models import Consent, Swim, Swimmer
from portal.models import PersonRequest
from tests.browser import fits, shot, signed_in, violations
from tests.cast import Cast, build_cast

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

WIDE, PHONE = {"width": 1280, "height": 900}, {"width": 360, "height": 740}
BASE, GROUP = Consent.Purpose.FILM_AND_REVIEW, Consent.Purpose.SHOW_TO_GROUP


@pytest.fixture
def club(transactional_db: None, settings: Any, live_server: Any) -> Cast:
    settings.SECOND_FACTOR_REQUIRED = False
    settings.SITE_URL = live_server.url
    cast = build_cast()
    publish_defaults(club=cast.harbour, by=cast.admin)
    return cast


@pytest.fixture
def browse(browser: Browser, live_server: Any) -> Iterator[Any]:
    """Opens a browser for somebody (None: nobody signed in); no page may complain."""
    opened: list[BrowserContext] = []
    said: list[str] = []

    def browse_as(user: Any, viewport: dict[str, int]) -> Page:
        if user is None:
            context = browser.new_context(base_url=live_server.url, viewport=viewport)
        else:
            context = signed_in(browser, user, live_server.url, viewport=viewport)
        context.set_default_timeout(20_000)
        opened.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: said.append(str(error)))
        page.on("console", lambda m: said.append(m.text) if m.type == "error" else None)
        return page

    yield browse_as
    for context in opened:
        context.close()
    # Of a network that was cut the browser says so itself, of a worker in words of its own.
    known = ("404", "INTERNET", "when fetching the script")
    assert [line for line in said if not any(word in line for word in known)] == []


def sound(page: Page, name: str) -> None:
    """As it should be at any width, for everybody."""
    assert fits(page)
    assert violations(page) == []
    shot(page, name)


def in_force(swimmer: Swimmer) -> set[str]:
    return set(swimmer.consents.filter(ended_at__isnull=True).values_list("purpose", flat=True))


def status(page: Page, url: str) -> int:
    return page.request.get(url).status


def test_a_swimmer_answers_by_a_link_and_withdraws_there(club: Cast, browse: Any) -> None:
    swimmer = club.swims["wren"].entry.swimmer
    swimmer.consents.all().delete()
    link = make_link(swimmer=swimmer, clinic=club.clinic, by=club.admin)
    page = browse(None, PHONE)
    page.goto(link)
    assert link.rsplit("/", 2)[1] not in page.url  # the token stands in no later address
    expect(page.get_by_role("heading", level=1)).to_have_text(f"May we film you, {swimmer.name}?")
    boxes = page.locator(".consent-question input[type=checkbox]")
    expect(boxes).to_have_count(len(Consent.Purpose))
    assert not any(box.is_checked() for box in boxes.all())  # each its own, none ticked
    sound(page, "consent-link-360")
    assert "Tomas" not in page.content() and "clip-files" not in page.content()
    boxes.nth(0).check()
    boxes.nth(1).check()
    if page.get_by_label("18 or older").count():
        page.get_by_label("18 or older").check()
    page.get_by_role("button", name="Send my answer").click()
    expect(page.get_by_role("heading", name="What you agree to now")).to_be_visible()
    assert in_force(swimmer) == {BASE, GROUP}
    sound(page, "consent-link-answered-360")
    page.get_by_role("link", name=re.compile("^Receipt")).first.click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Receipt")
    sound(page, "consent-receipt-360")
    page.go_back()
    page.get_by_role("button", name=re.compile("^Withdraw")).nth(1).click()
    expect(page.get_by_role("button", name=re.compile("^Withdraw"))).to_have_count(1)
    assert in_force(swimmer) == {BASE}


def test_withdrawing_on_the_own_account_hides_from_the_next_request_on(
    club: Cast, browse: Any
) -> None:
    room = reverse("feedback:swim", args=[club.swims["tomas"].pk])
    coach = browse(club.coach, WIDE)
    assert status(coach, room) == 200
    page = browse(club.tomas, PHONE)
    page.goto(reverse("clinics:my-consent"))
    sound(page, "my-consent-360")
    switch = page.get_by_role("switch", name=re.compile("You agree. Withdraw"))
    expect(switch).to_have_count(1)
    expect(switch).to_have_attribute("aria-checked", "true")
    switch.click()  # one click, and no fresh sign-in is asked for
    expect(page.get_by_role("switch", name=re.compile("You agree. Withdraw"))).to_have_count(0)
    assert status(coach, room) == 404
    assert status(page, room) == 200  # the swimmer may still take it along, until it goes


def test_a_swimmer_reads_who_saw(club: Cast, browse: Any) -> None:
    swim = club.swims["tomas"]
    video = swim.clips.first().files.get(kind="video")
    coach = browse(club.coach, WIDE)
    assert status(coach, reverse("clinics:clip-file", args=[video.pk])) == 200
    other = browse(club.other_coach, WIDE)
    assert status(other, reverse("clinics:clip-file", args=[video.pk])) == 404
    page = browse(club.tomas, PHONE)
    page.goto(reverse("feedback:my-swims"))
    page.get_by_role("link", name="Who has seen my swims").click()
    rows = page.locator("tbody tr")
    expect(rows).to_have_count(1)
    expect(rows).to_contain_text(club.coach.name)
    expect(rows).to_contain_text("watched")
    sound(page, "who-has-seen-360")


def test_an_admin_sees_an_erasure_coming_and_the_swimmer_takes_it_back(
    club: Cast, browse: Any
) -> None:
    swim = club.swims["tomas"]
    room = reverse("feedback:swim", args=[swim.pk])
    coach, page = browse(club.coach, WIDE), browse(club.tomas, PHONE)
    page.goto(reverse("clinics:my-data"))
    sound(page, "my-data-360")
    page.get_by_role("link", name="See what would go").click()
    expect(page.get_by_role("row", name=re.compile("^swims"))).to_contain_text("1")
    sound(page, "my-data-erase-360")
    page.get_by_role("checkbox").check()
    page.get_by_role("button", name="Delete my data").click()
    expect(page.get_by_role("button", name="Take it back")).to_be_visible()
    assert status(coach, room) == 404
    assert Swim.objects.filter(pk=swim.pk).exists()  # hidden, not yet deleted
    row = PersonRequest.objects.get(kind="erase")
    desk = browse(club.admin, WIDE)
    desk.goto(reverse("portal:requests", args=[club.harbour.slug]))
    sound(desk, "requests-1280")
    desk.get_by_role("link", name="Open").click()
    expect(desk.get_by_text("It is deleted by itself after")).to_be_visible()
    sound(desk, "request-1280")
    page.get_by_role("button", name="Take it back").click()
    expect(page.get_by_role("link", name="See what would go")).to_be_visible()
    row.refresh_from_db()
    assert row.state == PersonRequest.State.TAKEN_BACK
    assert status(coach, room) == 200


def test_an_admin_answers_a_question(club: Cast, browse: Any) -> None:
    page = browse(club.tomas, PHONE)
    page.goto(reverse("clinics:my-data"))
    page.get_by_text("Ask the club something else about your data").click()
    page.locator("textarea[name=words]").first.fill("Please correct my pace on the roster.")
    page.get_by_role("button", name="Send").click()
    desk = browse(club.admin, WIDE)
    desk.goto(reverse("portal:requests", args=[club.harbour.slug]))
    desk.get_by_role("link", name="Open").click()
    expect(desk.get_by_text("Please correct my pace")).to_be_visible()
    desk.get_by_role("radio").first.check()
    desk.locator("textarea[name=words]").fill("Corrected today.")
    desk.get_by_role("button", name="Send the answer").click()
    expect(desk.get_by_role("status")).to_contain_text("Answered")
    row = PersonRequest.objects.get()
    assert (row.state, row.answered_by) == (PersonRequest.State.DONE, club.admin)
    page.goto(reverse("clinics:my-data"))
    expect(page.get_by_text("Corrected today.")).to_be_visible()


def test_at_the_pool_an_answer_waits_for_the_network(club: Cast, browse: Any) -> None:
    swimmer = club.swims["wren"].entry.swimmer
    swimmer.consents.all().delete()
    phone = browse(club.crew, PHONE)
    phone.goto(reverse("clinics:consent-pool", args=[club.clinic.pk]))
    expect(phone.get_by_role("link", name=re.compile(f"Ask.*{swimmer.name}"))).to_be_visible()
    sound(phone, "consent-pool-360")
    phone.context.set_offline(True)
    phone.get_by_role("link", name=re.compile(f"Ask.*{swimmer.name}")).click()
    phone.locator(".consent-question input[type=checkbox]").first.check()
    for box in phone.get_by_label("18 or older").all():
        if box.is_visible():
            box.check()
    phone.get_by_role("button", name="Send my answer").click()
    expect(phone.locator("[data-net]")).to_contain_text("1 to send")
    assert in_force(swimmer) == set()
    phone.context.set_offline(False)
    expect(phone.locator("[data-net]")).to_contain_text("All answers are sent", timeout=30_000)
    assert in_force(swimmer) == {BASE}
    answer = swimmer.consents.get(purpose=BASE, ended_at__isnull=True)
    assert answer.method == Consent.Method.POOL


def test_pages_of_keeping_and_consent_are_sound_at_a_desk(club: Cast, browse: Any) -> None:
    desk = browse(club.admin, WIDE)
    slug, clinic = [club.harbour.slug], [club.clinic.pk]
    for name, args in (
        ("clinics:consent-texts", slug),
        ("clinics:keeping", slug),
        ("clinics:holds", slug),
        ("portal:access-record", slug),
        ("clinics:consent", clinic),
        ("clinics:custody", clinic),
    ):
        desk.goto(reverse(name, args=args))
        sound(desk, f"{name.split(':')[1]}-1280")
