"""A served site of a test's own: real processes on a data folder of their own."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import psutil

from tests.migrated import migrated_database
from tests.services import free_port

ROOT = Path(__file__).resolve().parents[2]
LONG_S = 90.0  # generous: other tests may share the two cores
LEASE_S, HEARTBEAT_S, SWEEP_S = 2.0, 0.4, 0.5


def environment(data: Path, **more: str) -> dict[str, str]:
    """Of child processes: short leases, the tests' job kinds, nothing of the tests' own data."""
    kept = {k: v for k, v in os.environ.items() if k not in {"DATABASE_URL", "REDIS_URL"}}
    return kept | {
        "DJANGO_SETTINGS_MODULE": "portal.settings",
        "SIDELANE_DATA": str(data),
        "EXTRA_REGISTRATIONS": "tests.kinds",
        "EMAIL_URL": "dummymail://",
        "LOG_LEVEL": "ERROR",
        "JOB_LEASE_S": str(LEASE_S),
        "JOB_HEARTBEAT_S": str(HEARTBEAT_S),
        "JOB_SWEEP_S": str(SWEEP_S),
        "PYTHONPATH": str(ROOT),
        **more,
    }


def manage(env: dict[str, str], *words: str, check: bool = True) -> subprocess.CompletedProcess:
    return subprocess.run(
        [sys.executable, str(ROOT / "manage.py"), *words],
        env=env,
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=check,
        timeout=2 * LONG_S + 120,
    )


def prepared(data: Path, **more: str) -> dict[str, str]:
    """The environment of a site whose database is migrated: on SQLite, a copy of one that is."""
    env = environment(data, **more)
    if "DATABASE_URL" in more:
        manage(env, "migrate", "--verbosity", "0")
    else:
        shutil.copy(migrated_database(), data / "sidelane.db")
    return env


def inside(env: dict[str, str], script: str, *words: str, timeout: float = 400) -> Any:
    """What `python -m tests.portal.<script>` prints as its last line, as JSON."""
    done = subprocess.run(
        [sys.executable, "-m", f"tests.portal.{script}", *words],
        env=env,
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        timeout=timeout,
    )
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-6000:]
    return json.loads(done.stdout.strip().split("\n")[-1])


@dataclass
class Site:
    process: psutil.Popen
    port: int
    log: Path

    def parts(self) -> list[psutil.Process]:
        with contextlib.suppress(psutil.NoSuchProcess):
            return self.process.children(recursive=True)
        return []

    def workers(self, queue: str) -> list[psutil.Process]:
        """The worker processes of a queue (past their fork: their own command line shows)."""
        found = []
        for part in self.parts():
            with contextlib.suppress(psutil.NoSuchProcess):
                if part.cmdline()[-2:] == ["worker", queue]:
                    found.append(part)
        return found


@contextlib.contextmanager
def served(env: dict[str, str], port: int | None = None) -> Iterator[Site]:
    """`manage.py serve`, ended by SIGTERM; fails if anything of it is left."""
    port = port or free_port()
    log = Path(env["SIDELANE_DATA"]) / "serve.log"
    with log.open("ab") as out:
        process = psutil.Popen(
            [sys.executable, str(ROOT / "manage.py"), "serve", "--port", str(port)],
            env=env,
            cwd=ROOT,
            stdout=out,
            stderr=out,
            stdin=subprocess.DEVNULL,
            process_group=0,
        )
    site = Site(process, port, log)
    try:
        yield site
    finally:
        parts = site.parts()
        if process.is_running():
            process.send_signal(signal.SIGTERM)
            try:
                process.wait(25)
            except psutil.TimeoutExpired:
                process.kill()
        for part in parts:
            with contextlib.suppress(psutil.NoSuchProcess):
                part.kill()


def wait_until(true: Callable[[], Any], within_s: float, what: str) -> Any:
    deadline = time.monotonic() + within_s
    while True:
        value = true()
        if value:
            return value
        if time.monotonic() > deadline:
            raise AssertionError(f"not within {within_s:g} s: {what}")
        time.sleep(0.05)
