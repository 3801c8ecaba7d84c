"""`manage.py serve`: one tree of real processes that starts, mends itself and ends."""

from __future__ import annotations

import contextlib
import os
import signal
import socket
import sqlite3
import stat
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import psutil
import pytest

from tests.portal.site import (
    LONG_S,
    ROOT,
    Site,
    environment,
    manage,
    prepared,
    served,
    wait_until,
)

pytestmark = pytest.mark.services


@pytest.fixture(scope="module")
def migrated(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    return prepared(tmp_path_factory.mktemp("served"), RENDER_PROCESSES="1", WEB_PROCESSES="1")


@pytest.fixture(scope="module")
def site(migrated: dict[str, str]) -> Iterator[Site]:
    with served(migrated) as running:
        wait_until(lambda: answers(running), LONG_S, "the web answers")
        yield running


def answers(site: Site) -> bool:
    with contextlib.suppress(OSError):
        url = f"http://localhost:{site.port}/health/live"
        with urllib.request.urlopen(url, timeout=2) as answer:
            return answer.read() == b"ok"
    return False


def query(env: dict[str, str], sql: str, *values: object) -> list[tuple]:
    """Straight from the database file: another witness than the code under test."""
    with contextlib.closing(sqlite3.connect(f"{env['SIDELANE_DATA']}/sidelane.db")) as db:
        return db.execute(sql, values).fetchall()


def ask(env: dict[str, str], words: str) -> str:
    """Enqueue from a process of its own, as a web request would; the job's id in hex."""
    script = (
        "import django; django.setup()\n"
        "from portal.actions.jobs import enqueue\n"
        "from portal.models import Club\n"
        "Club.objects.get_or_create(slug='harbour', defaults={'name': 'Harbour Lane Masters'})\n"
        f"print(enqueue({words}).pk.hex)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], env=env, cwd=ROOT, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


def state_of(env: dict[str, str], job: str) -> str:
    return query(env, "SELECT state FROM portal_job WHERE id = ?", job)[0][0]


QUICK = "kind='test-write-quick', params={'club': 'harbour', 'seconds': 0.1}"


def test_serve_does_asked_work_soon_and_keeps_its_broker_private(
    site: Site, migrated: dict[str, str]
) -> None:
    job = ask(migrated, QUICK)
    wait_until(lambda: state_of(migrated, job) == "done", LONG_S, "the job is done")
    broker = Path(migrated["SIDELANE_DATA"]) / "broker"
    assert stat.S_IMODE(broker.stat().st_mode) == 0o700
    names = sorted(" ".join(part.cmdline()[-2:]) for part in site.parts())
    assert [name for name in names if "worker" in name] == ["worker quick", "worker render"]
    assert any("sweep" in name for name in names)


def test_message_of_no_bytes_stops_no_worker(site: Site, migrated: dict[str, str]) -> None:
    broker = Path(migrated["SIDELANE_DATA"]) / "broker"
    for name in ("00000000000000000001_a.quick.msg", "00000000000000000002_b.quick.msg"):
        (broker / name).touch()
    (broker / "00000000000000000003_c.quick.msg").write_bytes(b"\xff{]")
    before = [worker.pid for worker in site.workers("quick")]
    job = ask(migrated, QUICK)
    wait_until(lambda: state_of(migrated, job) == "done", LONG_S, "the job is done")
    wait_until(lambda: not list(broker.glob("0000*.msg")), 10, "the bad messages are gone")
    assert [worker.pid for worker in site.workers("quick")] == before


def test_poison_that_kills_workers_fails_after_three_attempts(
    site: Site, migrated: dict[str, str]
) -> None:
    """Work after it goes on."""
    poison = ask(migrated, "kind='test-poison'")
    good = ask(migrated, QUICK)
    wait_until(lambda: state_of(migrated, poison) == "failed", LONG_S, "the poison is failed")
    sql = "SELECT attempt, reason FROM portal_job WHERE id = ?"
    attempt, reason = query(migrated, sql, poison)[0]
    assert attempt == 3
    assert "died or hung 3 times" in reason
    wait_until(lambda: state_of(migrated, good) == "done", LONG_S, "the job after it is done")


@pytest.mark.parametrize("victim", ["gunicorn", "worker render", "sweep --forever"])
def test_dead_part_is_started_again(site: Site, victim: str) -> None:
    def find() -> list[psutil.Process]:
        with contextlib.suppress(psutil.NoSuchProcess):
            direct = site.process.children()
            return [part for part in direct if victim in " ".join(part.cmdline())]
        return []

    (old,) = wait_until(find, LONG_S, f"{victim} runs")
    children = old.children(recursive=True)
    old.kill()
    wait_until(lambda: [p for p in find() if p.pid != old.pid], LONG_S, f"{victim} runs again")
    wait_until(lambda: answers(site), LONG_S, "the web answers")
    wait_until(lambda: not any(p.is_running() for p in children), 15, "its children are gone")


def test_second_serve_on_the_same_data_or_port_is_refused(
    site: Site, migrated: dict[str, str]
) -> None:
    same_port = manage(migrated, "serve", "--port", str(site.port), check=False)
    assert same_port.returncode == 1
    assert f"Cannot listen on localhost:{site.port}" in same_port.stderr
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    same_data = manage(migrated, "serve", "--port", str(port), check=False)
    assert same_data.returncode == 1
    assert "served already" in same_data.stderr


def test_serve_says_to_migrate_first(tmp_path: Path) -> None:
    refused = manage(environment(tmp_path), "serve", check=False)
    assert refused.returncode == 1
    assert "manage.py migrate" in refused.stderr


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_nothing_outlives_serve(number: signal.Signals, tmp_path: Path) -> None:
    """Ended in order, or killed outright with a job and its child in work."""
    env = prepared(tmp_path, WEB_PROCESSES="1")
    job = ask(env, "kind='test-write-render', params={'club': 'harbour', 'seconds': 60}")
    with served(env) as running:
        wait_until(lambda: answers(running), LONG_S, "the web answers")
        wait_until(lambda: state_of(env, job) == "running", LONG_S, "the job runs")
        parts = wait_until(
            lambda: [p for p in running.parts() if p.name() == "sleep"] and running.parts(),
            LONG_S,
            "the job's child runs",
        )
        os.kill(running.process.pid, number)
        running.process.wait(20)
        wait_until(lambda: not any(p.is_running() for p in parts), 20, "all parts are gone")
    attempt, state = query(env, "SELECT attempt, state FROM portal_job WHERE id = ?", job)[0]
    # In order: given back uncounted. Killed: the lease runs out, the next sweep gives it back.
    assert (attempt, state) == ((1, "running") if number == signal.SIGKILL else (0, "waiting"))
