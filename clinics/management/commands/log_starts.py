"""Takes in a start log from a CSV file (columns: instant, swimmer, outcome, note)."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from clinics.actions.log import take_in_log
from clinics.management.clinic_command import ClinicCommand


class Command(ClinicCommand):
    help = (
        "Takes in a start log: instant (ISO 8601, in the clinic's zone unless it has an offset), "
        "swimmer (number), outcome (away, no-show, false-start, not-filmed), note. Taking the "
        "same file in twice changes nothing."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("log", type=Path, metavar="LOG.csv")

    def handle(self, *args: Any, **options: Any) -> None:
        clinic = self.find_clinic(options["clinic"])
        path: Path = options["log"]
        text = self.read(path)
        with self.bad_input("Nothing was taken in. Correct the file, then try again."):
            taken = take_in_log(clinic=clinic, text=text, by=None, source=path.name)
        document = {
            "clinic": clinic.slug,
            "added": taken.added,
            "known": taken.known,
            "swims": taken.swims,
        }
        words = f"{taken.added} lines are new ({taken.swims} swims), {taken.known} were here."
        self.tell(document, [words], options["json"])
