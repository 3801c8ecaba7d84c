"""What the commands about one clinic share: finding it, reading files, saying what is wrong.

One JSON document on standard output with --json, messages on standard error; exit code 0
done, 1 something failed, 2 bad input.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from clinics.actions.errors import BadInput
from clinics.compute.tables import decode_text
from clinics.models import Clinic
from portal.models import User

BAD_INPUT = 2


def not_cut_words(slug: str, people: Iterable[tuple[int, str]]) -> list[str]:
    """Whose swims (number and name) get no clips for want of consent, and what to do."""
    lines = [f"  {number} {name}" for number, name in sorted(set(people))]
    if not lines:
        return []
    return [
        "Not cut, since the swimmer has not agreed to be filmed:",
        *lines,
        "When they agree, record it on the clinic's Consent page or with record_consent "
        f"{slug} NUMBER --by ADMIN; their clips are then made.",
    ]


WHY = {
    "not-recorded": "the camera was not recording",
    "no-clock": "no clock is found for a recording of the station",
    "only-file-date": "only its file's date places the recording; cut anyhow with `cut`",
    "dropped": "somebody swam then who has not agreed to be filmed",
}


def left_out_words(passes: Iterable[dict[str, Any]]) -> list[str]:
    """Which passes have no clip although their station filmed, and why."""
    lines = [
        f"  {one['number']} {one['swimmer']}, {one['station']}, pass {one['pass']}: "
        f"{WHY[one['why']]}"
        for one in passes
    ]
    return ["Passes without a clip:", *lines, ""] if lines else []


def dropped_words(spans: Iterable[dict[str, Any]]) -> list[str]:
    """Spans that nobody sees."""
    lines = [
        f"  {one['station']} {one['recording']}: {one['from_media_s']:.1f} to "
        f"{one['to_media_s']:.1f} s"
        for one in spans
    ]
    return ["Shown to nobody, since whoever swam has not agreed:", *lines, ""] if lines else []


def progress_words(progress: dict[str, Any]) -> str:
    left_s = progress["seconds_left"]
    left = "" if left_s is None else f", about {left_s:.0f} s left"
    return (
        f"{progress['clips_made']} of {progress['clips']} clips made "
        f"({progress['minutes_made']:.1f} of {progress['minutes']:.1f} min){left}."
    )


class ClinicCommand(BaseCommand):
    """Base of the commands; `with_clinic` says whether the first argument names a clinic."""

    with_clinic = True

    def add_arguments(self, parser: CommandParser) -> None:
        if self.with_clinic:
            parser.add_argument("clinic", help="the clinic's short name")
        parser.add_argument("--json", action="store_true", help="tell the outcome as JSON")

    def say(self, message: str) -> None:
        """A message for the person at the keyboard."""
        self.stderr.write(message)

    def tell(self, document: dict[str, Any], words: list[str], as_json: bool) -> None:
        """The outcome: as one JSON document, or in words."""
        if as_json:
            self.stdout.write(json.dumps(document, indent=1, ensure_ascii=False))
        else:
            for line in words:
                self.stdout.write(line)

    def find_clinic(self, slug: str) -> Clinic:
        clinic = Clinic.objects.select_related("club").filter(slug=slug).first()
        if clinic is None:
            known = ", ".join(Clinic.objects.values_list("slug", flat=True)) or "none yet"
            raise CommandError(
                f"No clinic is called “{slug}”. There are: {known}.", returncode=BAD_INPUT
            )
        return clinic

    def find_person(self, email: str) -> User | None:
        if not email:
            return None
        person = User.objects.filter(email__iexact=email.strip()).first()
        if person is None:
            raise CommandError(f"Nobody here has the address “{email}”.", returncode=BAD_INPUT)
        return person

    def read(self, path: Path) -> str:
        """A text file's content."""
        try:
            content = path.read_bytes()
        except OSError as problem:
            raise CommandError(
                f"{path} cannot be read: {problem.strerror}.", returncode=BAD_INPUT
            ) from problem
        with self.bad_input():
            return decode_text(content, source=path.name)
        raise AssertionError  # pragma: no cover

    @contextlib.contextmanager
    def bad_input(self, nothing: str = "") -> Iterator[None]:
        """Bad input ends the command with every complaint on a line of its own."""
        try:
            yield
        except BadInput as bad:
            lines = bad.lines() + ([nothing] if nothing else [])
            raise CommandError("\n".join(lines), returncode=BAD_INPUT) from None
