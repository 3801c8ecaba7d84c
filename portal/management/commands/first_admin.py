"""Make a club and its first admin, and print a way in that needs no mail."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.core.validators import validate_email, validate_slug
from django.db import transaction

from portal.actions.people import NotPossible, first_admin
from portal.actions.sign_in import print_code
from portal.management.way_in import print_way_in


class Command(BaseCommand):
    help = "Make a club and its first admin, and print a one-time way in."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("email", metavar="EMAIL")
        parser.add_argument("--club", required=True, metavar="SLUG", help="such as harbour-lane")
        parser.add_argument("--club-name", default="", metavar="NAME", help="if the club is new")
        parser.add_argument("--json", action="store_true", help="one JSON document on stdout")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            validate_email(options["email"])
        except ValidationError:
            raise CommandError(
                f"“{options['email']}” is no e-mail address.", returncode=2
            ) from None
        try:
            validate_slug(options["club"])
        except ValidationError:
            raise CommandError(
                f"--club “{options['club']}”: only letters, digits and hyphens.", returncode=2
            ) from None
        try:
            with transaction.atomic():
                membership, new = first_admin(
                    email=options["email"],
                    club_slug=options["club"],
                    club_name=options["club_name"],
                )
                user, code = print_code(email=membership.user.email)
        except (NotPossible, LookupError) as reason:
            raise CommandError(str(reason), returncode=2) from None
        said = "is now" if new else "already is"
        self.stderr.write(f"{user.email} {said} admin of {membership.club.name}.")
        print_way_in(self, user, code, as_json=options["json"])
