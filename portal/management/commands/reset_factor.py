"""Remove the second factors of somebody who lost them. They set up a new one next time."""

from __future__ import annotations

import json
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from portal.actions.factors import reset_factors
from portal.models import User


class Command(BaseCommand):
    help = "Remove a person's second factors and end all their sessions."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("email", metavar="EMAIL")
        parser.add_argument("--json", action="store_true", help="one JSON document on stdout")

    def handle(self, *args: Any, **options: Any) -> None:
        user = User.objects.filter(email=options["email"].strip().lower()).first()
        if user is None:
            raise CommandError(f"Nobody has the address {options['email']}.", returncode=2)
        removed = reset_factors(user=user)
        if options["json"]:
            self.stdout.write(json.dumps({"email": user.email, "removed": removed}))
            return
        self.stdout.write(
            f"{removed} removed, all sessions of {user.email} ended. At the next sign-in the "
            "site asks them to set up a new second factor if their role needs one."
        )
