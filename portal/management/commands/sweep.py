"""The one scheduler: sweeps once, or every `JOB_SWEEP_S` seconds."""

from __future__ import annotations

import signal
import threading
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandParser
from django.db import close_old_connections

from portal.actions.sweep import Sweeper


class Command(BaseCommand):
    help = "Rings again for waiting jobs, gives back what dead workers held, tidies files."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--forever", action="store_true", help="go on until stopped (run one of these)"
        )

    def handle(self, *, forever: bool, **options: Any) -> None:
        sweeper = Sweeper()
        if not forever:
            self._tell(sweeper.sweep(), sweeper.broken)
            return
        stop = threading.Event()
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, lambda *_: stop.set())
        while not stop.is_set():
            close_old_connections()
            try:
                sweeper.sweep()
            except Exception as problem:  # the database away: the health page turns red, we go on
                self.stderr.write(f"sweep broke: {type(problem).__name__}: {problem}")
            close_old_connections()
            stop.wait(settings.JOB_SWEEP_S)

    def _tell(self, counts: dict[str, int], broken: dict[str, str]) -> None:
        for name, count in counts.items():
            self.stdout.write(f"{name}: {count}")
        for name, problem in broken.items():
            self.stderr.write(f"{name} broke: {problem}")
        if broken:
            raise SystemExit(1)
