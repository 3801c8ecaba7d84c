"""Close somebody's account: nobody signs in with it any more, and they are out at once."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from portal.actions.sessions import deactivate, reactivate
from portal.models import User


class Command(BaseCommand):
    help = "Deactivate a person and end all their sessions."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("email", metavar="EMAIL")
        parser.add_argument("--undo", action="store_true", help="let them sign in again")

    def handle(self, *args: Any, **options: Any) -> None:
        user = User.objects.filter(email=options["email"].strip().lower()).first()
        if user is None:
            raise CommandError(f"Nobody has the address {options['email']}.", returncode=2)
        if options["undo"]:
            reactivate(user=user, by=None)
            self.stdout.write(f"{user.email} may sign in again.")
            return
        deactivate(user=user, by=None)
        self.stdout.write(f"{user.email} cannot sign in any more; all sessions are ended.")
