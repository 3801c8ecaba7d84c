"""A one-time code for somebody whom mail does not reach. Whoever runs this vouches for them."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from portal.actions.sign_in import print_code
from portal.management.way_in import print_way_in


class Command(BaseCommand):
    help = "Print a one-time sign-in code for a person, without mail."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("email", metavar="EMAIL")
        parser.add_argument("--json", action="store_true", help="one JSON document on stdout")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            user, code = print_code(email=options["email"])
        except LookupError:
            raise CommandError(
                f"Nobody with the address {options['email']} may sign in: invite them, or put "
                "them on a clinic's roster.",
                returncode=2,
            ) from None
        print_way_in(self, user, code, as_json=options["json"])
