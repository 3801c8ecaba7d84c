"""The pool hour in flight mode: forty starts, the page closed and opened, two phones, sent twice;
what signing out takes away, and what an ended sign-in does not."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
from django.http import Http404
from django.utils import timezone
from playwright.sync_api import Browser, expect

from clinics.models import StartLogEntry, Swim
from portal.models import User
from tests.browser import fits, shot, violations
from tests.cast import Cast
from tests.journeys.pool_phone import DB, Gate, Phone, gate_to, ready_clinic

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]
AGAIN = """async (name) => {
  const asked = indexedDB.open(name);
  const db = await new Promise((resolve) => (asked.onsuccess = () => resolve(asked.result)));
  const tx = db.transaction("items", "readwrite");
  const all = tx.objectStore("items").getAll();
  all.onsuccess = () => all.result.forEach((one) =>
    tx.objectStore("items").put({...one, state: "waiting"}));
  await new Promise((resolve) => (tx.oncomplete = resolve));
  db.close();
}"""


@pytest.fixture
def gate(live_server: Any) -> Iterator[Gate]:
    with gate_to(live_server.url) as opened:
        yield opened


@pytest.fixture
def other_gate(live_server: Any) -> Iterator[Gate]:
    with gate_to(live_server.url) as opened:
        yield opened


@pytest.fixture
def phone(browser: Browser, live_server: Any, settings: Any) -> Iterator[Any]:
    settings.SECOND_FACTOR_REQUIRED = False
    opened: list[Phone] = []

    def phone_of(person: User, url: str = live_server.url) -> Phone:
        opened.append(Phone(browser, person, url))
        return opened[-1]

    yield phone_of
    for one in opened:
        one.close()


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """AWAY is locked for a moment only, so that forty starts take no hour."""
    for module in ("log", "offline"):
        monkeypatch.setattr(f"clinics.views.{module}.TOO_CLOSE_S", 0)


def test_forty_starts_without_a_network_are_forty_swims(
    cast: Cast, phone: Any, gate: Gate, other_gate: Gate, quick: None
) -> None:
    log = ready_clinic(cast.clinic, range(101, 141))
    one, other = phone(cast.crew, gate.url), phone(cast.checker, other_gate.url)
    for each in (one, other):
        each.open(log)
        expect(each.page.locator("[data-number]")).to_have_text("101")
    # While a page closes Chromium lets its last requests through: the gate does not.
    one.context.set_offline(True)
    gate.set("refuse")
    other_gate.set("refuse")
    for _ in range(12):
        one.away()
    one.open(log)  # closed and opened, in flight mode: another run of its clock
    expect(one.page.locator("[data-number]")).to_have_text("113")
    expect(one.page.locator("[data-net]")).to_contain_text("12 to send, kept on this phone")
    for _ in range(12):
        one.away()
    other.away(125)
    other_gate.set("swallow")  # a network that takes everything and answers nothing
    other.open(log)
    for number in range(126, 141):
        other.away(number)
    assert len(one.unsent()) == 24 and len(other.unsent()) == 16
    assert not Swim.objects.filter(entry__number__gt=100).exists()

    one.context.set_offline(False)
    gate.set("open")
    other_gate.set("open")
    for each in (one, other):
        expect(each.page.locator("[data-net]")).to_have_text("All is sent.", timeout=60_000)
    for each in (one, other):
        each.page.evaluate(AGAIN, DB)
        each.open(log)
        expect(each.page.locator("[data-net]")).to_have_text("All is sent.", timeout=60_000)
        each.close_page()
    lines = StartLogEntry.objects.filter(entry__number__gt=100)
    swims = Swim.objects.filter(entry__number__gt=100).select_related("entry", "log_entry")
    assert (lines.count(), swims.count(), len({s.entry.number for s in swims})) == (40, 40, 40)
    taps = dict(one.taps + other.taps)
    assert len(taps) == 40
    off_ms = {
        swim.entry.number: 1000 * swim.start_at.timestamp() - taps[swim.entry.number]
        for swim in swims
    }
    print("furthest off, ms:", max(map(abs, off_ms.values())))
    assert max(map(abs, off_ms.values())) < 50, off_ms
    assert len(set(lines.values_list("clock_run", flat=True))) == 4  # two of each phone
    assert set(lines.values_list("phone__user", flat=True)) == {cast.crew.pk, cast.checker.pk}


def test_nothing_but_the_two_shells_is_kept(cast: Cast, phone: Any) -> None:
    log = ready_clinic(cast.clinic, range(21, 23))
    one = phone(cast.crew)
    one.open(log)
    for path in (f"/clinics/{cast.clinic.pk}/", f"{log}file/", "/account/", f"{log}?number=22"):
        one.open(path, ready=False)
    one.open(log)
    kept = one.cached()
    assert [name.split(" ")[:2] for name in kept] == [["sidelane-shell", log]]
    assert "csrf" not in str(one.kept())
    (paths,) = kept.values()
    assert [path for path in paths if not path.startswith("/static/")] == [f"{log}shell/"]
    shell = one.page.evaluate("async (p) => (await caches.match(p)).text()", f"{log}shell/")
    assert "csrf" not in shell and "Swimmer 21" not in shell and cast.crew.name not in shell
    assert one.page.evaluate("({...localStorage})") == {"sidelane-keeps": "1"}  # that, not what
    assert one.page.evaluate("sessionStorage.length") == 0


def test_news_of_another_phone_arrive_and_two_logs_of_one_start_are_one_swim(
    cast: Cast, phone: Any
) -> None:
    log = ready_clinic(cast.clinic, range(21, 24))
    one, other = phone(cast.crew), phone(cast.checker)
    for each in (one, other):
        each.open(log)
    other.page.locator("summary", has_text="This phone").click()
    other.page.get_by_label("What the others should call").fill("Marshal")
    other.page.get_by_label("What the others should call").blur()
    other.away()
    one.context.set_offline(True)
    one.away()  # the same start, logged by both
    one.context.set_offline(False)
    said = one.page.locator("[data-lines] > li", has_text="Marshal")
    expect(said).to_contain_text("21 Swimmer 21", timeout=60_000)
    expect(one.page.locator("[data-number]")).to_have_text("22")
    expect(one.page.locator("[data-net]")).to_have_text("All is sent.", timeout=60_000)
    assert StartLogEntry.objects.filter(entry__number=21).count() == 2
    assert Swim.objects.filter(entry__number=21).count() == 1


def test_signing_out_asks_first_and_then_clears_everything(
    cast: Cast, phone: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    log = ready_clinic(cast.clinic, range(21, 23))
    one = phone(cast.crew)
    one.open(log)
    one.context.set_offline(True)
    one.away()

    def takes_nothing(**_told: Any) -> None:
        raise Http404  # as of a clinic that was closed meanwhile

    monkeypatch.setattr("clinics.views.log_sync.take_in_sync", takes_nothing)
    one.context.set_offline(False)
    page = one.open("/account/", ready=False)
    page.get_by_role("button", name="Sign out", exact=True).first.click()
    ask = page.get_by_role("dialog")
    expect(ask).to_contain_text("on this device alone: 1.", timeout=30_000)
    assert violations(page) == [] and fits(page)
    shot(page, "leaving-360")
    ask.get_by_role("button", name="Stay signed in").click()
    expect(ask).to_be_hidden()
    assert page.url.endswith("/account/") and len(one.unsent()) == 1

    page.get_by_role("button", name="Sign out", exact=True).first.click()
    tab = one.context.new_page()  # the log is open in another tab, too
    tab.goto(log)
    expect(tab.locator("[data-stations-sum]")).to_contain_text("of 2")
    ask.get_by_role("button", name="Delete them and sign out").click(timeout=30_000)
    expect(page).to_have_url(re.compile("/sign-in/"))
    expect(tab).not_to_have_url(re.compile("/starts/"))
    kept = one.kept()
    assert kept == {"items": [], "clinics": [], "phone": []} and one.cached() == {}
    workers = "navigator.serviceWorker.getRegistrations().then((all) => all.length)"
    for _ in range(20):  # one that the other tab was about to install finds nobody signed in
        if page.evaluate(workers) == 0:
            break
        page.wait_for_timeout(500)
    assert page.evaluate(workers) == 0 and one.cached() == {}
    assert not Swim.objects.filter(entry__number=21).exists()


def test_signing_out_sends_what_waits_before_it_asks(cast: Cast, phone: Any) -> None:
    log = ready_clinic(cast.clinic, range(21, 23))
    one = phone(cast.crew)
    one.open(log)
    one.context.set_offline(True)
    one.away()
    one.close_page()
    one.context.set_offline(False)
    page = one.open("/account/", ready=False)
    page.get_by_role("button", name="Sign out", exact=True).first.click()
    expect(page).to_have_url(re.compile("/sign-in/"), timeout=30_000)
    assert Swim.objects.filter(entry__number=21).count() == 1
    assert one.kept()["items"] == []


def test_an_ended_sign_in_clears_nothing_and_the_log_goes_on(cast: Cast, phone: Any) -> None:
    log = ready_clinic(cast.clinic, range(21, 24))
    one = phone(cast.crew)
    one.open(log)
    session = one.context.cookies()
    one.context.clear_cookies()
    one.away()
    net = one.page.locator("[data-net]")
    expect(net).to_contain_text("You are signed out. You can go on logging: 1 to send")
    one.open(log, ready=False)  # with a network: the sign-in page would be no help at the pool
    expect(one.page.locator("[data-number]")).to_have_text("22")
    one.away()
    link = one.page.get_by_role("link", name="Sign in again")
    expect(link).to_have_attribute("href", re.compile(r"/sign-in/\?next=%2Fclinics%2F"))
    assert len(one.unsent()) == 2 and not Swim.objects.filter(entry__number=21).exists()
    shot(one.page, "start-log-signed-out-360")
    one.context.add_cookies(session)
    expect(one.page.locator("[data-net]")).to_have_text("All is sent.", timeout=60_000)
    assert Swim.objects.filter(entry__number__in=(21, 22)).count() == 2


def test_two_weeks_after_the_day_no_name_is_left(cast: Cast, phone: Any) -> None:
    log = ready_clinic(cast.clinic, range(21, 23))
    one = phone(cast.crew)
    one.open(log)
    one.context.set_offline(True)
    one.away()
    one.context.set_offline(False)
    page = one.open("/notice/", ready=False)
    later_ms = 1000 * timezone.now().timestamp() + 16 * 86_400_000
    page.evaluate(
        """async (ms) => (await import("/static/clinics/offline-forget.js")).forgetOld(ms)""",
        later_ms,
    )
    kept = one.kept()
    assert kept["clinics"] == [] and "Swimmer 21" not in str(kept)
    assert [item["kind"] for item in kept["items"]] == ["line"]  # a start is not lost by waiting
