"""Creates or updates a clinic from a plan; deploy/example-plan/plan.toml is a whole example."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from clinics.actions.plan import take_in_plan
from clinics.management.clinic_command import ClinicCommand


class Command(ClinicCommand):
    help = (
        "Creates or updates a clinic from a plan (TOML) and the roster (CSV) that it names. "
        "Everything is taken in, or nothing and every mistake is named."
    )
    with_clinic = False

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("plan", type=Path, metavar="FILE.toml")
        parser.add_argument("--roster", type=Path, metavar="FILE.csv", help="instead of the plan's")
        parser.add_argument(
            "--create-club", metavar="NAME", help="make the plan's club, with this name, if missing"
        )
        super().add_arguments(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        path: Path = options["plan"]
        text = self.read(path)
        roster = self.read(options["roster"]) if options["roster"] else None
        with self.bad_input("Nothing was taken in. Correct the files, then try again."):
            clinic = take_in_plan(
                text=text,
                base_dir=path.parent,
                roster_text=roster,
                by=None,
                create_club=options["create_club"],
                source=path.name,
            )
        counts = {
            "stations": clinic.stations.count(),
            "lane_groups": clinic.lane_groups.count(),
            "swimmers": clinic.entries.count(),
            "team": clinic.duties.values("user").distinct().count(),
        }
        document = {"clinic": clinic.slug, "id": str(clinic.pk), "name": clinic.name, **counts}
        words = (
            f"{clinic.name} ({clinic.slug}): {counts['stations']} stations, "
            f"{counts['swimmers']} swimmers in {counts['lane_groups']} lane groups."
        )
        self.tell(document, [words], options["json"])
