"""The whole site in one process tree: web, a worker for each queue, the sweep."""

from __future__ import annotations

import contextlib
import fcntl
import os
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from portal.actions.health import unapplied_migrations
from portal.deathsig import die_with

STOP_WITHIN_S = 15.0
LONG_ENOUGH_S = 10.0  # a part that lived so long is started again at once
SLOWEST_RESTART_S = 10.0


@dataclass
class Part:
    """One program of the tree, started again whenever it ends."""

    name: str
    argv: list[str]
    dies_by: signal.Signals
    process: subprocess.Popen[bytes] | None = None
    started_at: float = 0.0
    start_at: float = 0.0
    wait_s: float = 0.0

    def start(self) -> None:
        self.started_at = time.monotonic()
        self.process = subprocess.Popen(
            self.argv,
            cwd=settings.BASE_DIR,
            stdin=subprocess.DEVNULL,
            process_group=0,  # so that Ctrl-C reaches `serve` alone, which ends them in order
            preexec_fn=die_with(os.getpid(), self.dies_by),
        )

    def ended(self) -> int | None:
        return None if self.process is None else self.process.poll()

    def plan_restart(self, code: int) -> None:
        """Soon if it was killed or had lived a while; slower each time if it will not run."""
        lived_s = time.monotonic() - self.started_at
        killed = code < 0 or lived_s >= LONG_ENOUGH_S
        self.wait_s = 0.2 if killed else min(max(1.0, self.wait_s * 2), SLOWEST_RESTART_S)
        self.process = None
        self.start_at = time.monotonic() + self.wait_s

    def signal_group(self, number: signal.Signals) -> None:
        if self.process is not None:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(self.process.pid, number)


class Command(BaseCommand):
    help = "Serves the site on this machine: web pages, workers and the sweep. Ctrl-C ends it."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--host", default="localhost", help="address to listen on")

    def handle(self, *, port: int, host: str, **options: Any) -> None:
        problem = unapplied_migrations()
        if problem:
            raise CommandError(problem)
        address = self._free_address(host, port)
        with self._only_one():
            self._clear_broker()
            parts = self._parts(address)
            self.stdout.write(f"Serving on http://{host}:{port} (Ctrl-C ends it)")
            self.stdout.flush()
            self._watch(parts)

    def _free_address(self, host: str, port: int) -> str:
        """An address as gunicorn wants it, tried first: its own refusal would loop."""
        address = "127.0.0.1" if host == "localhost" else host
        try:
            with socket.create_server((address, port)):
                pass
        except OSError as problem:
            raise CommandError(
                f"Cannot listen on {host}:{port}: {problem.strerror}. Choose another: --port"
            ) from None
        return f"{address}:{port}"

    @contextlib.contextmanager
    def _only_one(self) -> Any:
        """Two of these on one data folder would wipe each other's broker."""
        settings.DATA_DIR.mkdir(parents=True, exist_ok=True)
        with (settings.DATA_DIR / "serve.lock").open("a") as lock:
            self._lock(lock)
            yield

    def _lock(self, lock: IO[str]) -> None:
        deadline = time.monotonic() + 3  # one that was just killed may still be letting go
        while True:
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
                return
            except BlockingIOError:
                if time.monotonic() > deadline:
                    raise CommandError(
                        f"Sidelane is being served already from {settings.DATA_DIR}."
                    ) from None
                time.sleep(0.1)

    def _clear_broker(self) -> None:
        """Nothing of value is in it; what waits stands in the database."""
        folder = Path(settings.BROKER_DIR)
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True, mode=0o700)
        settings.STATIC_ROOT.mkdir(parents=True, exist_ok=True)  # whitenoise looks for it

    def _parts(self, address: str) -> list[Part]:
        manage = [sys.executable, str(settings.BASE_DIR / "manage.py")]
        web = [
            *[sys.executable, "-m", "gunicorn", "portal.wsgi:application"],
            *["--bind", address, "--worker-class", "gthread", "--threads", "8"],
            *["--workers", str(settings.WEB_PROCESSES), "--graceful-timeout", "5"],
            *["--log-level", "warning", "--no-control-socket"],
        ]
        render = [
            Part(f"render worker {number}", [*manage, "worker", "render"], signal.SIGKILL)
            for number in range(1, settings.RENDER_PROCESSES + 1)
        ]
        return [
            Part("web", web, signal.SIGTERM),
            Part("quick worker", [*manage, "worker", "quick"], signal.SIGKILL),
            *render,
            Part("sweep", [*manage, "sweep", "--forever"], signal.SIGKILL),
        ]

    def _watch(self, parts: list[Part]) -> None:
        stop = threading.Event()
        for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
            signal.signal(number, lambda *_: stop.set())
        try:
            for part in parts:
                part.start()
            while not stop.wait(0.2):
                for part in parts:
                    self._look_after(part)
        finally:
            self._stop(parts)

    def _look_after(self, part: Part) -> None:
        code = part.ended()
        if code is not None:
            part.signal_group(signal.SIGKILL)  # whatever of its group is left
            part.plan_restart(code)
            self.stderr.write(
                f"{part.name} ended with {code}; starting it again in {part.wait_s:g} s"
            )
        elif part.process is None and time.monotonic() >= part.start_at:
            part.start()

    def _stop(self, parts: list[Part]) -> None:
        for part in parts:
            if part.process is not None:
                part.process.send_signal(signal.SIGTERM)
        deadline = time.monotonic() + STOP_WITHIN_S
        for part in parts:
            if part.process is not None:
                with contextlib.suppress(subprocess.TimeoutExpired):
                    part.process.wait(max(0.0, deadline - time.monotonic()))
                part.signal_group(signal.SIGKILL)
                part.process.wait()
