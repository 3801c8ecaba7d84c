"""Records, without a browser, that swimmers of a clinic agree to be filmed."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from typing import Any

from django.core.exceptions import PermissionDenied
from django.core.management import BaseCommand, CommandError

from clinics.actions.consent import ConsentRefused, record_consent
from clinics.models import Clinic, Entry
from clinics.privacy import FILM_AND_REVIEW
from portal.models import User


class Command(BaseCommand):
    help = (
        "Record that swimmers of CLINIC agree to be filmed and reviewed by the club's coaches: "
        "for those whose signed sheets the admin has in hand. Without it nothing is cut."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("clinic", help="the clinic's short name")
        parser.add_argument("numbers", nargs="*", type=int, help="swimmers' numbers")
        parser.add_argument("--all", action="store_true", help="everybody of the running order")
        parser.add_argument("--by", required=True, help="e-mail address of the club's admin")
        parser.add_argument("--json", action="store_true", help="one JSON document")

    def handle(self, *args: Any, **options: Any) -> None:
        clinic = Clinic.objects.filter(slug=options["clinic"]).first()
        if clinic is None:
            raise CommandError(f"No clinic is called “{options['clinic']}”.", returncode=2)
        admin = User.objects.filter(email=options["by"].strip().lower()).first()
        if admin is None:
            raise CommandError(f"Nobody has the address “{options['by']}”.", returncode=2)
        entries = self._entries(clinic, options["numbers"], options["all"])
        try:
            for entry in entries:
                record_consent(swimmer=entry.swimmer, purpose=FILM_AND_REVIEW, by=admin)
        except PermissionDenied:
            raise CommandError(
                f"{admin.email} is no admin of {clinic.club}. Name one with --by.", returncode=2
            ) from None
        except ConsentRefused as refused:
            raise CommandError(str(refused), returncode=2) from None
        self._tell(entries, as_json=options["json"])

    def _entries(self, clinic: Clinic, numbers: list[int], everybody: bool) -> list[Entry]:
        if bool(numbers) == everybody:
            raise CommandError("Name the swimmers' numbers, or say --all.", returncode=2)
        entries = list(clinic.entries.select_related("swimmer__club"))
        if everybody:
            return entries
        missing = sorted(set(numbers) - {entry.number for entry in entries})
        if missing:
            raise CommandError(
                f"Nobody in {clinic.slug} has number {', '.join(map(str, missing))}. "
                "Nothing was recorded.",
                returncode=2,
            )
        return [entry for entry in entries if entry.number in numbers]

    def _tell(self, entries: list[Entry], *, as_json: bool) -> None:
        if as_json:
            agreed = [{"number": e.number, "swimmer": e.swimmer.name} for e in entries]
            self.stdout.write(json.dumps({"purpose": FILM_AND_REVIEW, "agreed": agreed}))
            return
        for entry in entries:
            self.stdout.write(f"{entry.number} {entry.swimmer.name}: agrees to be filmed.")
