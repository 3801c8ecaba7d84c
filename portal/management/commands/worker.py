"""A worker: waits for the bell of one queue and works off its rows."""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import Any

from celery.exceptions import SecurityWarning
from django.conf import settings
from django.core.management.base import BaseCommand, CommandParser

from portal.actions.jobs import QUEUES


class Command(BaseCommand):
    help = "Works off the jobs of one queue, one at a time, until it is stopped."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("queue", choices=QUEUES)

    def handle(self, *, queue: str, **options: Any) -> None:
        """Celery's solo pool: the process that listens is the process that works.

        So nothing is left behind when it is killed, and a hung job takes down only itself.
        """
        from portal import tasks

        if not settings.REDIS_URL:
            Path(settings.BROKER_DIR).mkdir(parents=True, exist_ok=True, mode=0o700)
        warnings.simplefilter("ignore", SecurityWarning)  # messages are JSON, whoever runs us
        tasks.app.worker_main(
            [
                "--quiet",
                "worker",
                "--pool=solo",
                "--concurrency=1",
                f"--queues={queue}",
                f"--hostname={queue}@%h",
                "--loglevel=WARNING",
                "--without-gossip",
                "--without-mingle",
                "--without-heartbeat",
            ]
        )
