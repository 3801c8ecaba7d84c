"""`make_demo_media OUT`: draw a demo clinic's recordings and papers into a folder."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from clinics.management.demo.make import DemoFolderTaken, make_demo
from clinics.management.demo.occasions import AUTUMN, CLINICS
from clinics.media.errors import MediaError


class Command(BaseCommand):
    help = "Draws an invented demo clinic: plan, roster, start log, its cameras' recordings."
    requires_system_checks = ()  # it only writes files: no database, no pages

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("out", type=Path, help="folder to make; must be empty or absent")
        parser.add_argument("--clinic", choices=CLINICS, default=AUTUMN.slug, help="which one")
        parser.add_argument("--seed", type=int, default=1, help="another number, another afternoon")
        parser.add_argument("--short", action="store_true", help="two swimmers only, for tests")

    def handle(self, *args: Any, **options: Any) -> None:
        began = time.monotonic()
        try:
            truth = make_demo(
                options["out"],
                seed=options["seed"],
                short=options["short"],
                clinic=options["clinic"],
            )
        except (DemoFolderTaken, MediaError) as error:
            raise CommandError(str(error)) from error
        took_s = time.monotonic() - began
        swims, recordings = len(truth.data["swims"]), len(truth.data["recordings"])
        self.stdout.write(
            f"{truth.folder}: {swims} swims, {recordings} recordings ({took_s:.0f} s)"
        )
