"""A PostgreSQL or a Redis of the tests' own, in a temporary folder, gone afterwards.

    python -m tests.services postgres -- python -m pytest ...

runs the command with DATABASE_URL naming a fresh server. A missing server program fails
the tests; with SIDELANE_ALLOW_SKIP=1 it skips them.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from signal import SIGINT, SIGKILL, SIGTERM, Signals
from typing import Any

from portal.deathsig import die_with

START_WITHIN_S = 30.0


class ServiceMissing(Exception):
    """A server program is not installed."""


def find_program(name: str) -> str:
    """Its path; Debian keeps PostgreSQL's programs out of PATH."""
    found = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"))
    path = str(found[-1]) if found else shutil.which(name)
    if path is None:
        raise ServiceMissing(f"{name} is not installed; deploy/test installs it")
    return path


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return one.getsockname()[1]


def _other_user() -> dict[str, Any]:
    """PostgreSQL refuses root: then it runs as the user that its package made."""
    if os.geteuid() != 0:
        return {}
    return {"user": "postgres", "group": "postgres", "extra_groups": []}


@contextlib.contextmanager
def postgres() -> Iterator[str]:
    """The DATABASE_URL of a server that listens on this machine only."""
    initdb, server = find_program("initdb"), find_program("postgres")
    with tempfile.TemporaryDirectory(prefix="sidelane-pg-") as folder:
        who = _other_user()
        if who:
            shutil.chown(folder, "postgres", "postgres")
        data = f"{folder}/data"
        subprocess.run(
            [initdb, "-D", data, "-U", "sidelane", "-A", "trust", "-E", "UTF8", "--no-sync"],
            check=True,
            capture_output=True,
            cwd=folder,
            env={**os.environ, "LC_ALL": "C.UTF-8"},
            **who,
        )
        port = free_port()
        argv = [server, "-D", data, "-p", str(port), "-k", "", "-h", "127.0.0.1", "-F"]
        with _running(argv, port, folder, stop_by=SIGINT, who=who):
            url = f"postgres://sidelane@127.0.0.1:{port}/postgres"
            _wait_for_answer(url)
            yield url


def _wait_for_answer(url: str) -> None:
    import psycopg

    deadline = time.monotonic() + START_WITHIN_S
    while True:
        try:
            psycopg.connect(url.replace("postgres://", "postgresql://")).close()
            return
        except psycopg.OperationalError:
            if time.monotonic() > deadline:
                raise
            time.sleep(0.1)


@contextlib.contextmanager
def redis(port: int | None = None) -> Iterator[str]:
    """The REDIS_URL of a server that listens on this machine only and keeps nothing."""
    server = find_program("redis-server")
    port = port or free_port()
    with tempfile.TemporaryDirectory(prefix="sidelane-redis-") as folder:
        argv = [server, "--port", str(port), "--bind", "127.0.0.1", "--save", "", "--dir", folder]
        argv += ["--appendonly", "no", "--maxmemory-policy", "noeviction"]
        with _running(argv, port, folder, stop_by=SIGTERM, who={}):
            yield f"redis://127.0.0.1:{port}/0"


@contextlib.contextmanager
def _running(
    argv: list[str], port: int, folder: str, *, stop_by: Signals, who: dict[str, Any]
) -> Iterator[None]:
    with tempfile.TemporaryFile() as log:
        process = subprocess.Popen(
            argv,
            stdout=log,
            stderr=log,
            stdin=subprocess.DEVNULL,
            cwd=folder,
            process_group=0,
            preexec_fn=die_with(os.getpid(), SIGKILL),
            **who,
        )
        try:
            _wait_for_port(port, process, log)
            yield
        finally:
            process.send_signal(stop_by)
            try:
                process.wait(10)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


def _wait_for_port(port: int, process: subprocess.Popen[bytes], log: Any) -> None:
    deadline = time.monotonic() + START_WITHIN_S
    while time.monotonic() < deadline:
        if process.poll() is not None:
            log.seek(0)
            raise RuntimeError(f"{process.args!r} ended: {log.read().decode()[-2000:]}")
        with contextlib.suppress(OSError):
            socket.create_connection(("127.0.0.1", port), 1).close()
            return
        time.sleep(0.05)
    raise RuntimeError(f"{process.args!r} did not listen within {START_WITHIN_S:g} s")


def needed(service: Any) -> Any:
    """For tests: the service, or a skip only where skipping was allowed by name."""
    import pytest

    try:
        find_program({"postgres": "initdb", "redis": "redis-server"}[service.__name__])
    except ServiceMissing as problem:
        if os.environ.get("SIDELANE_ALLOW_SKIP") == "1":
            pytest.skip(str(problem))
        pytest.fail(f"{problem} (SIDELANE_ALLOW_SKIP=1 skips such tests)")
    return service()


def main(words: list[str]) -> int:
    services = {"postgres": (postgres, "DATABASE_URL"), "redis": (redis, "REDIS_URL")}
    if len(words) < 3 or words[0] not in services or words[1] != "--":
        print("usage: python -m tests.services postgres|redis -- COMMAND …", file=sys.stderr)
        return 2
    service, variable = services[words[0]]
    with service() as url:
        return subprocess.run(words[2:], env={**os.environ, variable: url}, check=False).returncode


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
