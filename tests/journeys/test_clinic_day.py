"""The main job as people do it, in real Chromium against the served site with its workers:
crew brings in, the checker ties, confirms and passes, the coach says something and gives,
the swimmer signs in by the link in the mail, watches, jumps to the comment and replies;
another swimmer finds nothing.
"""

from __future__ import annotations

import email
import email.policy
import json
import os
import re
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

from clinics.management.demo.make import make_demo
from tests.portal.site import LONG_S, manage, prepared, served, wait_until
from tests.services import free_port

pytestmark = [pytest.mark.journey, pytest.mark.slow, pytest.mark.timeout(900)]
SHOTS = os.environ.get("SIDELANE_SHOTS")  # a folder: keep screenshots to look at
WIDE, PHONE = {"width": 1280, "height": 860}, {"width": 360, "height": 760}
ADMIN = "mara.lindqvist@harbourlane.example"
COACH = "ines.aldana@harbourlane.example"
CHECKER = "jun.sorley@harbourlane.example"
CREW = "petra.voss@harbourlane.example"


@dataclass
class Day:
    """A served site on which a clinic is planned and its starts are logged."""

    url: str
    mails: Path
    out: Path
    browser: Browser
    complaints: list[str] = field(default_factory=list)

    def page(self, size: dict[str, int]) -> Page:
        page = self.browser.new_context(base_url=self.url, viewport=size).new_page()
        page.set_default_timeout(30_000)
        page.on(
            "console",
            lambda m: self.complaints.append(m.text) if m.type in {"error", "warning"} else None,
        )
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        return page

    def newest_mail(self, to: str, subject: str) -> str:
        """The body of the last mail to somebody whose subject has these words."""
        found = [
            message
            for path in sorted(self.mails.glob("*"), key=lambda p: p.stat().st_mtime)
            for message in _messages(path)
            if message["To"] == to and subject in message["Subject"]
        ]
        return found[-1].get_content() if found else ""

    def sign_in(self, address: str, size: dict[str, int]) -> Page:
        """By the link in the mail, opened in the browser that asked."""
        page = self.page(size)
        page.goto("/sign-in/")
        page.get_by_label("E-mail").fill(address)
        page.get_by_role("button", name="Send me a code").click()
        expect(page.get_by_role("heading", name="Look into your mail")).to_be_visible()
        body = wait_until(lambda: self.newest_mail(address, "code"), LONG_S, "the mail")
        link = re.search(r"https?://\S+#\S+", body)
        assert link, body
        page.goto(link[0])
        page.get_by_role("button", name="Sign in here").click()
        page.wait_for_url(lambda url: "/sign-in/" not in url)
        return page


def _messages(path: Path) -> list[email.message.EmailMessage]:
    """Django's file backend parts mails by a line of 79 dashes."""
    parts = re.split(r"^-{79}$", path.read_text(), flags=re.M)
    return [
        email.message_from_string(part.lstrip("\n"), policy=email.policy.default)
        for part in parts
        if part.strip()
    ]


def answers(url: str) -> bool:
    try:
        with urllib.request.urlopen(url, timeout=5) as answer:
            return answer.status == 200
    except OSError:
        return False


def shot(page: Page, name: str) -> None:
    """Both widths are looked at; nothing may stand out to the right on either."""
    size = page.viewport_size
    for wanted in (WIDE, PHONE):
        page.set_viewport_size(wanted)
        page.wait_for_timeout(300)
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), name
        if SHOTS:
            path = Path(SHOTS) / f"{name}-{wanted['width']}.png"
            page.screenshot(path=str(path), full_page=wanted is WIDE)
    page.set_viewport_size(size)


@pytest.fixture
def day(tmp_path: Path) -> Iterator[Day]:
    mails = tmp_path / "mails"
    mails.mkdir()
    port = free_port()
    url = f"http://localhost:{port}"
    env = prepared(
        tmp_path,
        SITE_URL=url,
        EMAIL_URL=f"filemail:///{mails}",
        SECOND_FACTOR_REQUIRED="false",
        EXTRA_REGISTRATIONS="",
        JOB_LEASE_S="10",
    )
    out = tmp_path / "demo"
    make_demo(out, seed=2, short=True)
    manage(
        env,
        "first_admin",
        ADMIN,
        "--club",
        "harbour-lane-masters",
        "--club-name",
        "Harbour Lane Masters",
    )
    manage(env, "plan_clinic", str(out / "plan.toml"))
    manage(env, "record_consent", "harbour-autumn", "--all", "--by", ADMIN)
    manage(env, "log_starts", "harbour-autumn", str(out / "starts.csv"))
    with served(env, port), sync_playwright() as playwright:
        wait_until(lambda: answers(f"{url}/health/live"), LONG_S, "the site answers")
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium",
            args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
        )
        day = Day(url, mails, out, browser)
        yield day
        browser.close()


def test_from_recordings_to_a_swimmer_who_sees_only_the_own_swim(day: Day) -> None:
    invite_coach(day)
    bring_in(day)
    checker = tie(day)
    swims = check_and_pass(checker)
    comment_and_give(day)
    swim_url, clip_url = watch_and_reply(day)
    see_nothing(day, swim_url, clip_url)
    assert len(swims) == 2
    assert day.complaints == []


def invite_coach(day: Day) -> None:
    page = day.sign_in(ADMIN, WIDE)
    page.goto("/clubs/harbour-lane-masters/people/")
    page.get_by_label("E-mail").fill(COACH)
    page.get_by_label("Name").fill("Ines Aldana")
    page.get_by_label("Role").select_option("coach")
    page.get_by_label("From").fill("2026-09-01")
    shot(page, "people")
    page.get_by_role("button", name="Invite").click()
    expect(page.get_by_role("cell", name=f"Ines Aldana {COACH}")).to_be_visible()
    page.goto("/clinics/")
    page.get_by_role("link", name="Autumn clinic").first.click()
    shot(page, "clinic-as-admin")
    page.context.close()


def bring_in(day: Day) -> None:
    """On a laptop beside the pool: one card of the start side, one of the silent camera."""
    page = day.sign_in(CREW, WIDE)
    page.get_by_role("link", name="Autumn clinic").first.click()
    page.get_by_role("link", name="Bring in").first.click()
    for slug in ("start-side", "underwater"):
        card = page.locator(f"#station-{slug}")
        files = sorted((day.out / "media" / slug).iterdir())
        card.locator("input[type=file]").first.set_input_files(files)
        expect(card.get_by_text(re.compile("Taking in|safely in|%")).first).to_be_visible()
        expect(card.get_by_text("This card is safely in")).to_be_visible(timeout=120_000)
    shot(page, "bring-in")
    page.context.close()


def tie(day: Day) -> Page:
    """The checker finds the frame of a start in each recording and says whose it is."""
    page = day.sign_in(CHECKER, WIDE)
    ties = json.loads((day.out / "ties.json").read_text())["recordings"]
    clinic = page.get_by_role("link", name="Autumn clinic").first.get_attribute("href")
    for row in (r for r in ties if r["station"] in {"start-side", "underwater"}):
        for one in row["ties"]:
            page.goto(f"{clinic}bring-in/")
            page.get_by_role("link", name=row["files"][0]).first.click(timeout=60_000)
            page.goto(page.url.split("?")[0] + f"?frame={one['frame']}")
            swim = page.get_by_label("Whose start this frame shows")
            swim.select_option(index=_option(swim, one["swimmer"]))
            page.get_by_role("button", name="Tie this frame").click()
            expect(page.locator("main")).to_contain_text(re.compile("start of a swim, seen"))
    shot(page, "recording")
    page.goto(f"{clinic}check/")
    return page


def _option(select: object, number: int) -> int:
    words = select.locator("option").all_inner_texts()  # type: ignore[attr-defined]
    return next(i for i, text in enumerate(words) if text.startswith(f"{number} "))


def check_and_pass(page: Page) -> list[str]:
    """Waits until the clips are made, then confirms each person and passes the swims on."""
    board = page.url
    clips = "document.querySelectorAll('main img[src*=\"/clip-files/\"]').length"

    def all_made() -> bool:
        page.goto(board)
        return page.evaluate(clips) >= 6  # two swims, at the start side and twice under water

    wait_until(all_made, 180, "six clips on the board")
    page.wait_for_load_state("networkidle")
    shot(page, "check-board")
    opens = [a.get_attribute("href") for a in page.get_by_role("link", name="Open").all()]
    for href in opens:
        page.goto(href)
        page.get_by_role("button", name=re.compile("The card says")).click()
        page.wait_for_load_state()
        page.get_by_label("Nobody else").check()
        shot(page, "check-swim")
        page.get_by_role("button", name=re.compile("Pass to the coaches")).click()
        page.wait_for_load_state()
    page.goto(board)
    expect(page.locator("main")).to_contain_text("Passed to the coaches 2")
    page.context.close()
    return opens


def comment_and_give(day: Day) -> None:
    page = day.sign_in(COACH, WIDE)
    page.wait_for_url("**/waiting/")
    shot(page, "waiting")
    page.get_by_role("link", name="Tomas Birk").click()
    page.locator(".stand", has_text="Underwater, pass 1").click()
    page.get_by_role("button", name="One frame on").click()
    page.get_by_role("button", name="One frame on").click()
    page.get_by_label(re.compile("Say something at .* on Underwater")).fill("Long, and then press.")
    page.get_by_role("button", name="Keep as draft").click()
    expect(page.locator("#said")).to_contain_text("Long, and then press.")
    page.wait_for_load_state("networkidle")
    shot(page, "swim-as-coach")
    page.get_by_label("One thing to try").fill("Reach before you press.")
    page.get_by_role("button", name=re.compile("Send to")).click()
    page.get_by_role("button", name="Send", exact=True).click()
    expect(page.locator("main")).to_contain_text("Given on")
    page.context.close()


def watch_and_reply(day: Day) -> tuple[str, str]:
    """On a phone."""
    given = wait_until(
        lambda: day.newest_mail("tomas.birk@harbourlane.example", "swim"), LONG_S, "the mail"
    )
    assert "Long, and then press" not in given
    assert "Reach before you press" not in given
    page = day.sign_in("tomas.birk@harbourlane.example", PHONE)
    page.wait_for_url("**/my-swims/")
    shot(page, "my-swims")
    page.get_by_role("link", name="Watch").click()
    page.wait_for_selector("[data-room][data-ready]")
    page.get_by_role("button", name="Play").click()
    wait_until(lambda: shown_s(page) > 0.3, LONG_S, "the film plays")
    page.get_by_role("button", name="Pause").click()
    page.get_by_role("button", name=re.compile("^All .* views")).click()  # their size is said
    page.locator("#said a[href*='at=']").first.click()
    expect(page.locator("figure.main figcaption")).to_contain_text("Underwater")
    page.wait_for_selector("[data-room][data-frame]:not([data-frame=''])")
    shot(page, "swim-as-swimmer")
    page.get_by_text("Reply", exact=True).first.click()
    page.get_by_label(re.compile("reply", re.I)).first.fill("Felt that.")
    page.get_by_role("button", name=re.compile("reply|say", re.I)).first.click()
    expect(page.locator("#said")).to_contain_text("Felt that.")
    url = page.url.split("?")[0].split("#")[0]
    data = json.loads(page.locator("#swim-data").text_content() or "")
    page.context.close()
    return url, data["views"][0]["renditions"][0]["url"]


def shown_s(page: Page) -> float:
    return float(page.locator("[data-room]").get_attribute("data-at") or 0)


def see_nothing(day: Day, swim_url: str, clip_url: str) -> None:
    page = day.sign_in("liv.marchetti@harbourlane.example", PHONE)
    for url in (swim_url, clip_url):
        answer = page.request.get(url)
        assert answer.status == 404
        assert "Tomas" not in answer.text()
    assert page.request.get(clip_url, headers={"Range": "bytes=0-9"}).status == 404
    page.goto("/my-swims/")
    expect(page.locator("main")).not_to_contain_text("Tomas")
    page.context.close()
