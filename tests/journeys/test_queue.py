"""A coach works along the queue without going back; the swimmer reads on a phone and asks back."""

from __future__ import annotations

import contextlib
import uuid
from collections.abc import Iterator
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Browser, BrowserContext, Page, expect

from clinics.models import Clip, Swim
from feedback.actions.feedback import keep_words
from feedback.models import Feedback, FeedbackSent, TakenSwim
from portal.models import User
from tests.browser import fits, shot, signed_in, violations
from tests.cast import Cast, build_cast, make_member, make_user
from tests.feedback.painted_swim import Film, put_film
from tests.feedback.said import comment

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

WIDE, PHONE = {"width": 1280, "height": 900}, {"width": 360, "height": 740}
ONE_THING = "Feet higher on the wall, push out level."


@pytest.fixture
def shown_cast(transactional_db: None, film: Film, settings: Any) -> Cast:
    settings.SECOND_FACTOR_REQUIRED = False
    cast = build_cast()
    put_film(cast, film)
    _film_also(cast.clips["wren"], cast.clips["tomas"])
    Swim.objects.filter(pk=cast.swims["tomas"].pk).update(given_at=None, given_by=None)
    ilse = make_user("ilse.brandt@harbourlane.example", "Ilse Brandt")
    make_member(cast.harbour, ilse, "coach")
    return cast


def _film_also(clips: list[Clip], like: list[Clip]) -> None:
    """The same pictures for another swimmer."""
    for clip, model in zip(clips, like, strict=True):
        clip.files.all().delete()
        span = {"first_frame": model.first_frame, "in_ticks": model.in_ticks}
        Clip.objects.filter(pk=clip.pk).update(**span, out_ticks=model.out_ticks)
        for file in model.files.all():
            file.pk, file.clip = uuid.uuid4(), clip
            file._state.adding = True
            file.save()


@pytest.fixture(params=[WIDE, PHONE], ids=["1280", "360"])
def size(request: pytest.FixtureRequest) -> dict[str, int]:
    return request.param


@pytest.fixture
def person(browser: Browser, live_server: Any) -> Iterator[Any]:
    """Opens a browser for somebody; when the test ends no page may have complained."""
    opened: list[BrowserContext] = []
    complaints: list[str] = []

    def open_for(user: User, viewport: dict[str, int], **options: Any) -> Page:
        context = signed_in(browser, user, live_server.url, viewport=viewport, **options)
        opened.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("console", lambda m: complaints.append(m.text) if m.type == "error" else None)
        return page

    yield open_for
    for context in opened:
        context.close()
    # the answer that tells of another's words is a 422, which the browser notes
    assert [said for said in complaints if "422" not in said] == []


def look_at(page: Page, name: str, width: int) -> None:
    shot(page, f"{name}-{width}")
    assert fits(page), f"{name} scrolls sideways"


def room(page: Page) -> None:
    """It stands there, and its scripts do too: nobody types within the first tenth of a second."""
    page.wait_for_selector("[data-room][data-ready]")


def test_a_coach_works_along_the_queue_and_the_swimmer_asks_back(
    shown_cast: Cast, person: Any, size: dict[str, int]
) -> None:
    coach, tomas = shown_cast.coach, shown_cast.swims["tomas"]
    page = person(coach, size)
    page.goto(reverse("feedback:waiting"))
    expect(page.locator(".queue li")).to_have_count(2)
    page.get_by_role("button", name="Take: Tomas Birk").click()
    expect(page.locator(f"#swim-{tomas.pk} .taken .state")).to_have_text("yours")
    assert TakenSwim.objects.get().coach == coach
    look_at(page, "queue", size["width"])
    page.get_by_role("link", name="Tomas Birk").click()
    room(page)
    expect(page.get_by_role("link", name="1 of 2")).to_be_visible()

    # words are kept by leaving the field, without a word on the keyboard more
    page.get_by_label("One thing to try").fill(ONE_THING)
    page.get_by_label("Point 1").fill("Look down between the breaths.")
    page.get_by_label("Point 2").fill("Kick to the end.")
    page.get_by_label("Point 3").focus()
    expect(page.locator("#feedback-kept")).to_contain_text("by Ines Aldana")
    page.locator("#said .say textarea").fill("Hips follow the hands. Keep this.")
    page.get_by_role("button", name="Keep as draft").first.click()
    expect(page.locator("#said article")).to_have_count(1)
    assert Feedback.objects.get().points == ["Look down between the breaths.", "Kick to the end."]
    look_at(page, "writing", size["width"])

    page.get_by_role("button", name="Send to Tomas Birk…").click()
    expect(page.locator(".going")).to_contain_text("one thing to try, 2 points, 1 comment")
    look_at(page, "going", size["width"])
    assert not FeedbackSent.objects.exists()
    expect(page.get_by_role("button", name="Send", exact=True)).to_be_focused()
    page.get_by_role("button", name="Send and go to the next").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Wren Okada")
    expect(page.locator(".messages")).to_contain_text("Sent to Tomas Birk.")
    expect(page.get_by_role("link", name="1 of 1")).to_be_visible()

    _reads_and_asks(shown_cast, person(shown_cast.tomas, PHONE, has_touch=True), size["width"])
    page.goto(reverse("feedback:waiting"))
    first = page.locator(".queue li").first
    expect(first).to_contain_text("the swimmer asks back")
    first.get_by_role("link", name="Tomas Birk").click()
    room(page)
    asked = shown_cast.swims["tomas"].comments.get(author=shown_cast.tomas)
    assert page.url.endswith(f"#said-{asked.pk}")
    expect(page.locator(f"#said-{asked.pk}")).to_be_in_viewport()
    look_at(page, "asked", size["width"])


def _reads_and_asks(cast: Cast, page: Page, width: int) -> None:
    page.goto(reverse("feedback:my-swims"))
    card = page.locator(".swim-card")
    expect(card).to_contain_text(f"One thing to try: {ONE_THING}")
    expect(card).to_contain_text("1 comment from Ines Aldana.")
    expect(card.locator(".new")).to_have_text("2 new")
    look_at(page, f"my-swims-{width}", 360)
    assert violations(page) == []
    page.get_by_role("link", name="Watch").click()
    room(page)
    expect(page.get_by_role("heading", name="One thing to try")).to_be_visible()
    expect(page.locator(".read")).to_contain_text("Kick to the end.")
    look_at(page, f"swimmer-{width}", 360)
    page.locator("#said .say textarea").fill("From which foot?")
    page.get_by_role("button", name="Say it").click()
    expect(page.locator("#said")).to_contain_text("From which foot?")


def test_two_coaches_at_once_lose_nothing(
    shown_cast: Cast, person: Any, size: dict[str, int]
) -> None:
    tomas = shown_cast.swims["tomas"]
    page = person(shown_cast.coach, size)
    page.goto(reverse("feedback:swim", args=[tomas.pk]))
    room(page)
    ilse = User.objects.get(name="Ilse Brandt")
    keep_words(swim=tomas, by=ilse, one_thing="Breathe later.", points=["Chin."], stamp="")
    page.get_by_label("One thing to try").fill(ONE_THING)
    page.get_by_label("Point 1").focus()
    kept = page.locator("#feedback-kept")
    expect(kept).to_contain_text("Ilse Brandt kept other words")
    expect(kept).to_contain_text("Breathe later.")
    expect(page.get_by_label("One thing to try")).to_have_value(ONE_THING)
    look_at(page, "meanwhile", size["width"])
    assert Feedback.objects.get().one_thing == "Breathe later."
    page.get_by_role("button", name="Keep", exact=True).click()
    expect(kept).to_contain_text("by Ines Aldana")
    assert Feedback.objects.get().one_thing == ONE_THING


def test_keys_go_along_the_queue_and_rest_while_somebody_types(
    shown_cast: Cast, person: Any
) -> None:
    page = person(shown_cast.coach, WIDE)
    tomas, wren = (shown_cast.swims[key] for key in ("tomas", "wren"))
    page.goto(reverse("feedback:swim", args=[tomas.pk]) + "?was=nothing-said")
    room(page)
    page.get_by_label("Point 1").press("]")
    expect(page.get_by_label("Point 1")).to_have_value("]")
    page.get_by_label("Point 1").fill("")  # a draft would move the swim down in the queue
    page.locator("h1").click()
    page.keyboard.press("]")
    page.wait_for_url(f"**/swims/{wren.pk}/?was=nothing-said")
    page.keyboard.press("[")
    page.wait_for_url(f"**/swims/{tomas.pk}/?was=nothing-said")


def test_taking_and_handing_on_in_the_room_leave_the_picture(
    shown_cast: Cast, person: Any, size: dict[str, int]
) -> None:
    page = person(shown_cast.coach, size)
    page.goto(reverse("feedback:swim", args=[shown_cast.swims["tomas"].pk]))
    room(page)
    page.evaluate("document.body.dataset.same = 'page'")
    page.get_by_role("button", name="Take", exact=True).click()
    expect(page.locator("#queue-nav .taken")).to_contain_text("yours")
    page.locator(".hand-on summary").click()
    look_at(page, "hand-on", size["width"])
    page.get_by_label("Who works on it").select_option("Ilse Brandt")
    page.locator(".hand-on button").click()
    expect(page.locator("#queue-nav .taken")).to_contain_text("taken by Ilse Brandt")
    assert page.evaluate("document.body.dataset.same") == "page"


def test_without_script_words_are_kept_shown_and_sent(
    shown_cast: Cast, person: Any, size: dict[str, int]
) -> None:
    page = person(shown_cast.coach, size, java_script_enabled=False)
    page.goto(reverse("feedback:swim", args=[shown_cast.swims["tomas"].pk]))
    page.get_by_label("One thing to try").fill(ONE_THING)
    page.get_by_role("button", name="Send to Tomas Birk…").click()
    expect(page.locator(".going")).to_contain_text("one thing to try")
    page.get_by_role("button", name="Send", exact=True).click()
    expect(page.locator(".messages")).to_contain_text("Sent to Tomas Birk.")
    assert FeedbackSent.objects.get().one_thing == ONE_THING


def test_no_barrier_that_axe_knows_and_room_for_a_thumb(
    shown_cast: Cast, person: Any, size: dict[str, int]
) -> None:
    page = person(shown_cast.coach, size)
    comment(shown_cast.swims["tomas"], shown_cast.coach, "Draft.", sent=False)
    share = reverse("feedback:share-out", args=[shown_cast.clinic.pk])
    swim = reverse("feedback:swim", args=[shown_cast.swims["tomas"].pk])
    pages = {"list": reverse("feedback:waiting"), "share": share, "room": f"{swim}?send"}
    for name, url in pages.items():
        page.goto(url)
        with contextlib.suppress(Exception):
            page.wait_for_load_state("networkidle", timeout=5000)
        look_at(page, f"axe-{name}", size["width"])
        assert violations(page) == [], name
        mine = ".queue, .whose, .filters, .shares, .among, .queue-nav, .feedback"
        low = page.locator(f":is({mine}) :is(button, select, summary, nav a, .button)")
        heights = low.evaluate_all(
            "all => all.filter(e => e.offsetParent && e.getBoundingClientRect().height < 44)"
            ".map(e => e.outerHTML)"
        )
        assert heights == [], name
