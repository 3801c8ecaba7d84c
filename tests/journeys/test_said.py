"""Saying things beside the picture, in a real browser: spans, phases, phrases, drafts, notes."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Browser, BrowserContext, Page, expect

from clinics.models import Clip
from feedback.actions import phrases, say
from feedback.models import Comment
from portal.models import User
from tests.browser import fits, shot, signed_in, violations
from tests.cast import Cast, build_cast, make_member, make_user
from tests.feedback.painted_swim import Film, put_film, true_ticks
from tests.feedback.words import say_and_send

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

BAD = {"error", "warning"}
expect.set_options(timeout=15_000)  # a machine that does other work beside


@pytest.fixture
def told(transactional_db: None, film: Film, settings: Any) -> Cast:
    settings.SECOND_FACTOR_REQUIRED = False
    cast = build_cast()
    put_film(cast, film)
    return cast


@pytest.fixture
def rooms(browser: Browser, live_server: Any, size: dict[str, int]) -> Iterator[Any]:
    """Opens the swim for a person; when the test ends no page may have complained."""
    opened: list[BrowserContext] = []
    complaints: list[str] = []

    def room_of(user: User, clip: Clip, frame: int, **options: Any) -> Page:
        context = signed_in(browser, user, live_server.url, viewport=size, **options)
        context.set_default_timeout(60_000)  # two hundred comments, while others work
        opened.append(context)
        page = context.new_page()
        page.on("console", lambda m: complaints.append(m.text) if m.type in BAD else None)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.goto(reverse("feedback:swim", args=[clip.swim_id]) + f"?view={clip.pk}&at={frame}")
        if options.get("java_script_enabled", True):
            page.wait_for_selector("[data-room][data-ready]")
            wait_for(page, frame)
        return page

    yield room_of
    for context in opened:
        context.close()
    assert complaints == []


def wait_for(page: Page, frame: int) -> None:
    page.wait_for_selector(f'[data-room][data-frame="{frame}"]')


def step(page: Page, count: int) -> None:
    for _ in range(count):
        frame = int(page.locator("[data-room]").get_attribute("data-frame") or -1)
        page.keyboard.press("ArrowRight")
        wait_for(page, frame + 1)


def test_a_span_with_a_phrase_is_kept_as_a_draft_and_both_ends_lead_to_their_frames(
    told: Cast, rooms: Any, size: dict[str, int]
) -> None:
    clip = told.clips["tomas"][1]
    phrase = phrases.keep_phrase(by=told.coach, text="Reach to your own side.", phase="swimming")
    page = rooms(told.coach, clip, 20)
    page.get_by_role("button", name="From here to another frame").click()
    step(page, 3)
    words = page.get_by_label(
        re.compile(r"Say something from 7\.8\d s to 7\.9\d s on Underwater 12.5 m, pass 1")
    )
    words.fill("Left hand crosses.")
    page.get_by_text("My phrases", exact=True).click()
    page.get_by_role("button", name="Reach to your own side.").click()
    expect(words).to_have_value("Left hand crosses. Reach to your own side.")
    expect(page.get_by_label("Phase", exact=True)).to_have_value("swimming")
    shot(page, f"said-form-{size['width']}")
    page.get_by_role("button", name="Keep as draft").click()
    article = page.locator("#said article")
    expect(article.locator(".chip")).to_have_text("draft")
    said = Comment.objects.get()
    ticks = true_ticks("underwater")
    assert said.pts_ticks == ticks[clip.first_frame + 20]
    assert said.until_ticks == ticks[clip.first_frame + 23]
    assert (said.phase, said.sent_at) == ("swimming", None)
    phrase.refresh_from_db()
    assert phrase.used_count == 1
    expect(page.locator("[data-span-from]")).to_have_attribute("aria-pressed", "false")
    first, last = article.locator("a.jump").all()
    first.click()
    wait_for(page, 20)
    last.click()
    wait_for(page, 23)
    expect(article).to_have_class(re.compile(r"\bnow\b"))
    step(page, 8)
    expect(article).not_to_have_class(re.compile(r"\bnow\b"))
    page.locator("body").press("p")
    wait_for(page, 20)
    assert fits(page)
    swimmer = rooms(told.tomas, clip, 0)
    expect(swimmer.locator("#said article")).to_have_count(0)


def test_a_span_that_was_drawn_backwards_begins_with_its_earlier_frame(
    told: Cast, rooms: Any
) -> None:
    clip = told.clips["tomas"][0]
    page = rooms(told.tomas, clip, 30)
    page.get_by_role("button", name="From here to another frame").press("Enter")
    page.keyboard.press("Shift+ArrowLeft")
    wait_for(page, 20)
    page.locator("[data-say] textarea").fill("Here?")
    page.get_by_role("button", name="Say it").click()
    expect(page.locator("#said article")).to_have_count(1)
    said = Comment.objects.get()
    ticks = true_ticks("start-side")
    ends = (ticks[clip.first_frame + 20], ticks[clip.first_frame + 30])
    assert (said.pts_ticks, said.until_ticks) == ends


def test_a_note_is_marked_for_coaches_and_the_swimmer_never_sees_it(
    told: Cast, rooms: Any, size: dict[str, int]
) -> None:
    clip = told.clips["tomas"][1]
    other = make_user("noor.castell@harbourlane.example", "Noor Castell")
    make_member(told.harbour, other, "coach")
    page = rooms(told.coach, clip, 10)
    page.locator("[data-say] textarea").fill("Old shoulder injury?")
    page.get_by_label("About", exact=True).select_option("instant")
    page.get_by_role("button", name="Note to coaches").click()
    expect(page.locator("#said .chip")).to_have_text("note among coaches")
    fellow = rooms(other, clip, 0)
    expect(fellow.locator("#said .new")).to_have_text("new")
    fellow.locator("#said .answer summary").click()
    fellow.get_by_label("Your reply").fill("Left one. Ask first.")
    shot(fellow, f"said-note-{size['width']}")
    fellow.get_by_role("button", name="Reply among coaches").click()
    expect(fellow.locator("#said .reply")).to_contain_text("Left one.")
    assert Comment.objects.filter(for_coaches=True, sent_at__isnull=False).count() == 2
    assert Comment.objects.get(reply_to=None).on_swim
    swimmer = rooms(told.tomas, clip, 0)
    expect(swimmer.locator("#said article")).to_have_count(0)
    assert "shoulder" not in swimmer.content()


def test_a_question_is_answered_at_once_or_later_and_words_are_taken_back(
    told: Cast, rooms: Any, size: dict[str, int]
) -> None:
    clip = told.clips["tomas"][1]
    first = say_and_send(
        swim=clip.swim, by=told.coach, text="Push out level.", clip=clip, frame=40, phase="push-off"
    )
    say.reply(to=first, by=told.tomas, text="Like this?")
    page = rooms(told.coach, clip, 40)
    page.locator("#said .answer summary").click()
    expect(page.get_by_role("button", name="Send now")).to_be_visible()
    page.get_by_label("Your reply").fill("Lower.")
    page.locator("#said .answer").get_by_role("button", name="Keep as draft").click()
    draft = page.locator("#said .reply.is-draft")
    expect(draft).to_contain_text("Lower.")
    say.say(swim=clip.swim, by=told.coach, text="And look down.", clip=clip, frame=60)
    page.reload()
    page.wait_for_selector("[data-room][data-ready]")
    shot(page, f"said-thread-{size['width']}")
    assert violations(page) == []
    draft.get_by_role("button", name="Send now").click()
    expect(draft).to_have_count(0)
    answer = Comment.objects.get(text="Lower.")
    assert answer.sent_at is not None
    assert Comment.objects.get(text="And look down.").sent_at is None  # waits for the feedback
    page.locator(f"#said-{first.pk} > .byline").get_by_text("Take back", exact=True).click()
    page.get_by_role("button", name="Take these words back").first.click()
    expect(page.locator(f"#said-{first.pk}")).to_contain_text("Taken back.")
    expect(page.locator(f"#said-{first.pk}")).not_to_contain_text("Push out level.")
    swimmer = rooms(told.tomas, clip, 0)
    expect(swimmer.locator("#said")).to_contain_text("Lower.")
    shot(swimmer, f"said-swimmer-{size['width']}")


def test_without_script_a_span_a_phrase_and_a_draft_are_said(told: Cast, rooms: Any) -> None:
    clip = told.clips["tomas"][1]
    phrases.keep_phrase(by=told.coach, text="Reach to your own side.", phase="swimming")
    page = rooms(told.coach, clip, 20, java_script_enabled=False)
    page.locator("[data-say] textarea").fill("Left hand crosses.")
    page.get_by_label("until frame").fill("33")
    page.get_by_text("My phrases", exact=True).click()
    page.get_by_role("button", name="Reach to your own side.").click()
    expect(page.locator("[data-say] textarea")).to_have_value(
        "Left hand crosses.\nReach to your own side."
    )
    page.get_by_role("button", name="Keep as draft").click()
    expect(page.locator("#said article a.jump")).to_have_count(2)
    said = Comment.objects.get()
    assert said.until_ticks == true_ticks("underwater")[clip.first_frame + 33]
    assert (said.phase, said.sent_at) == ("swimming", None)


def test_two_hundred_comments_cost_little_script_time_per_frame(
    told: Cast, rooms: Any, size: dict[str, int]
) -> None:
    clip = told.clips["tomas"][1]
    for number in range(200):
        say.say(
            swim=clip.swim,
            by=told.coach,
            text=f"Words number {number}, and a few more of them.",
            clip=clip,
            frame=number % 100,
            until_frame=min(99, number % 100 + 5) if number % 4 == 0 else None,
        )
    say.send_drafts(swim=clip.swim, by=told.coach)
    page = rooms(told.tomas, clip, 0)
    expect(page.locator("#said article")).to_have_count(200)
    per_frame_ms = page.evaluate(
        """key => {
          const room = document.querySelector("[data-room]");
          const took = [];
          for (let n = 0; n < 400; n += 1) {
            const now = { main: key, frame: n >> 2, frames: {}, playing: true };
            const detail = { ...now, at_s: 7 + n / 100 };
            const before = performance.now();
            room.dispatchEvent(new CustomEvent("room:frame", { detail }));
            took.push(performance.now() - before);
          }
          return took.sort((one, other) => one - other)[took.length >> 1];
        }""",
        str(clip.pk),
    )
    assert per_frame_ms < 4  # every second of these frames changes which words are of now
    expect(page.locator("#said article.now").first).to_be_visible()
    assert fits(page)
    shot(page, f"said-many-{size['width']}")


def test_the_index_of_words_agrees_with_asking_each_of_them(told: Cast, rooms: Any) -> None:
    """comments-index.js is pure: asked in the browser, compared with going through them all."""
    page = rooms(told.tomas, told.clips["tomas"][0], 0)
    answer = page.evaluate(
        """async () => {
          const { makeIndex, neighbour, reach } =
            await import("/static/feedback/room/comments-index.js");
          let seed = 7;
          const draw = (most) => { seed = (seed * 48271) % 2147483647; return seed % most; };
          const items = Array.from({ length: 150 }, (_, key) => {
            const at_s = draw(3000) / 100;
            return { key, at_s, ...reach(at_s, draw(3) ? null : at_s + draw(500) / 100) };
          });
          const index = makeIndex(items);
          const keys = (found) => found.map(({ key }) => key).sort((a, b) => a - b).join();
          let wrong = 0;
          for (let n = -100; n < 3600; n += 7) {
            const at_s = n / 100;
            const all = items.filter((item) => item.from_s <= at_s && at_s <= item.to_s);
            if (keys(index.at(at_s)) !== keys(all)) wrong += 1;
          }
          const few = [3, 1, 2].map((at_s) => ({ at_s }));
          const walk = [[1, 1], [3, 1], [2.5, -1], [1, -1], [-Infinity, 1]];
          return {
            wrong,
            instant: reach(5), span: reach(5, 6), none: makeIndex([]).at(3),
            walk: walk.map(([at_s, by]) => neighbour(few, at_s, by)?.at_s ?? null),
          };
        }"""
    )
    assert answer == {
        "wrong": 0,
        "instant": {"from_s": 4.75, "to_s": 5.25},
        "span": {"from_s": 5, "to_s": 6},
        "none": [],
        "walk": [2, None, 2, None, 1],
    }
