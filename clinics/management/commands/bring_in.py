"""Brings recordings in from this machine's disk, the same way as through the browser."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from clinics.actions.bring_in import Incoming, Outcome, modified_at, take_in
from clinics.models import Clinic, Recording, Station
from portal.actions.job_runs import JobFailed
from portal.actions.job_worker import drain
from portal.models import User


class Command(BaseCommand):
    help = (
        "Brings recordings in for a station. The files stay where they are; a copy is kept, read "
        "back and compared. Files that the camera split become one recording."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("clinic", help="the clinic's short name")
        parser.add_argument("station", help="the station's short name")
        parser.add_argument("files", nargs="+", type=Path, metavar="FILE")
        parser.add_argument("--camera", default="", help="the camera's name at that station")
        parser.add_argument("--by", default="", metavar="EMAIL", help="who brings them in")
        parser.add_argument("--wait", action="store_true", help="read them now, in this process")
        parser.add_argument("--json", action="store_true", help="tell the outcome as JSON")

    def handle(self, **options: Any) -> None:
        station = self._station(options["clinic"], options["station"])
        incoming = [Incoming(path, path.name, modified_at(path)) for path in options["files"]]
        try:
            outcomes = take_in(
                station=station,
                incoming=incoming,
                camera_name=options["camera"],
                by=self._person(options["by"]),
                copy=True,
            )
        except JobFailed as problem:  # the machine's fault, not a file's
            raise CommandError(str(problem)) from problem
        if options["wait"]:
            drain()
        told = [self._told(one, options["wait"]) for one in outcomes]
        if options["json"]:
            self.stdout.write(json.dumps({"files": told}, indent=1))
        else:
            for line in told:
                self.stdout.write(f"{line['file']}: {line['state']}. {line['reason']}".strip())
        refused = [line["file"] for line in told if line["state"] in {"refused", "failed"}]
        if refused:
            raise CommandError(f"Not brought in: {', '.join(refused)}. Everything else is in.")

    def _station(self, clinic_slug: str, station_slug: str) -> Station:
        clinic = Clinic.objects.filter(slug=clinic_slug).first()
        if clinic is None:
            known = ", ".join(Clinic.objects.values_list("slug", flat=True)) or "none yet"
            raise CommandError(f"No clinic is called “{clinic_slug}”. There are: {known}.")
        if clinic.state == Clinic.State.CLOSED:
            raise CommandError(f"{clinic.name} is closed: nothing more can be brought in.")
        station = clinic.stations.filter(slug=station_slug).first()
        if station is None:
            known = ", ".join(clinic.stations.values_list("slug", flat=True)) or "none"
            raise CommandError(f"{clinic.name} has no station “{station_slug}”. It has: {known}.")
        return station

    def _person(self, email: str) -> User | None:
        if not email:
            return None
        person = User.objects.filter(email__iexact=email.strip()).first()
        if person is None:
            raise CommandError(f"Nobody here has the address “{email}”.")
        return person

    def _told(self, outcome: Outcome, waited: bool) -> dict[str, Any]:
        """One file in words; after waiting also what became of its recording."""
        state, reason = outcome.state, outcome.reason
        recording = outcome.recording
        if recording is not None and waited:
            recording = Recording.objects.get(pk=recording.pk)
            if recording.state == Recording.State.FAILED:
                state, reason = "failed", recording.reason
            elif state == "taken":
                state = "ready" if recording.state == Recording.State.READY else "taken"
        return {
            "file": str(outcome.incoming.path),
            "name": outcome.incoming.name,
            "state": state,
            "reason": reason,
            "recording": str(recording.pk) if recording is not None else None,
            "sha256": outcome.sha256,
        }
