"""The health page turns red when work stands still; `doctor` says what to do."""

from __future__ import annotations

import datetime as dt
import json
import re
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.test import Client
from django.utils import timezone

from portal.actions import health
from portal.management.commands import doctor
from portal.models import Heartbeat
from portal.registry import Finding, HealthCheck
from tests.cast import Cast, sign_in


def set_beats(seconds_ago: float) -> None:
    seen_at = timezone.now() - dt.timedelta(seconds=seconds_ago)
    for name, queue in (("sweep", ""), ("a", "quick"), ("b", "render")):
        Heartbeat.objects.update_or_create(
            name=name, defaults={"queue": queue, "seen_at": seen_at, "detail": {}}
        )


def shown(client: Client) -> dict[str, bool]:
    """Which checks the page shows as well, read from the page itself."""
    page = client.get("/health/")
    assert page.status_code == 200
    rows = re.findall(r'data-check="([\w-]+)" data-ok="(yes|no)"', page.content.decode())
    return {name: ok == "yes" for name, ok in rows}


def test_live_is_open_to_anyone_and_says_only_ok(db: None, client: Client) -> None:
    answer = client.get("/health/live")
    assert (answer.status_code, answer.content) == (200, b"ok")


def test_health_is_for_people_who_work_for_a_club(cast: Cast) -> None:
    seen = {
        who: sign_in(Client(), user).get("/health/").status_code
        for who, user in cast.people().items()
    }
    members = {"coach", "coach of another club", "checker", "crew", "club admin"}
    members |= {"admin of another club"}
    assert {who for who, status in seen.items() if status == 200} == members
    assert seen["swimmer"] == 404
    assert seen["nobody signed in"] == 401


def test_sweep_is_red_after_three_intervals(cast: Cast, settings: Any) -> None:
    client = sign_in(Client(), cast.admin)
    assert (shown(client)["sweep"], shown(client)["workers"]) == (False, False)  # never seen
    set_beats(settings.JOB_SWEEP_S * 2.5)
    assert shown(client)["sweep"] is True
    set_beats(settings.JOB_SWEEP_S * 3 + 1)
    assert shown(client)["sweep"] is False


def test_workers_are_red_when_one_queue_has_none(cast: Cast) -> None:
    client = sign_in(Client(), cast.admin)
    set_beats(1)
    assert shown(client)["workers"] is True
    Heartbeat.objects.filter(queue="render").delete()
    assert shown(client)["workers"] is False
    assert "render" in str(health.check_workers().sentence)


def test_page_asks_the_sandbox_disk_and_broker_too(
    cast: Cast, settings: Any, tmp_path: Path
) -> None:
    client = sign_in(Client(), cast.admin)
    told = shown(client)
    assert {"database", "broker", "sandbox", "disk", "jobs", "mail"} <= set(told)
    assert (told["broker"], told["disk"]) == (True, True)
    settings.FREE_SPACE_RESERVE_BYTES = 10**18
    (tmp_path / "broker").write_text("a file where the folder should be")
    settings.BROKER_DIR = tmp_path / "broker"
    told = shown(client)
    assert (told["broker"], told["disk"]) == (False, False)


def test_check_that_breaks_is_red_and_stops_no_other() -> None:
    def broken() -> Finding:
        raise OSError("no such device")

    checks = [
        HealthCheck("broken", "Broken", broken),
        HealthCheck("well", "Well", lambda: Finding(True, "yes")),
    ]
    assert [(r.name, r.finding.ok) for r in health.look_over(checks)] == [
        ("broken", False),
        ("well", True),
    ]


@pytest.mark.parametrize(
    ("url", "well"),
    [
        ("http://localhost:8000", True),
        ("https://portal.example.org", True),
        ("http://portal.example.org", False),  # no secure context
        ("https://192.0.2.7", False),  # passkeys need a name
        ("https://elsewhere.example.org", False),  # not in ALLOWED_HOSTS
        ("portal.example.org", False),
    ],
)
def test_doctor_judges_the_address(url: str, well: bool, settings: Any) -> None:
    settings.SITE_URL = url
    settings.ALLOWED_HOSTS = ["localhost", "portal.example.org", "192.0.2.7"]
    assert doctor.check_site_url().ok is well


def test_doctor_ends_with_1_when_something_is_red(
    db: None, capsys: pytest.CaptureFixture[str], settings: Any
) -> None:
    with pytest.raises(SystemExit) as end:
        call_command("doctor", "--json")
    assert end.value.code == 1  # nobody sweeps in a test
    told = json.loads(capsys.readouterr().out)
    names = {check["name"]: check["ok"] for check in told["checks"]}
    assert (told["ok"], names["sweep"], names["database"]) == (False, False, True)
    assert {"python", "tools", "site-url", "migrations", "sandbox", "forecast"} <= set(names)


def test_doctor_ends_with_0_when_all_is_well(
    db: None, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    set_beats(1)
    monkeypatch.setattr(
        health.health_checks,
        "_items",
        {
            name: check
            for name, check in health.health_checks._items.items()
            if name not in {"sandbox"}  # the machine's matter, not this test's
        },
    )
    call_command("doctor")
    lines = capsys.readouterr().out.strip().split("\n")
    assert all(line.startswith("ok ") for line in lines), lines
