"""Walk the audit trail and say whether anything in it was changed, removed or moved."""

from __future__ import annotations

import json
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from portal.actions.audit import verify_chain


class Command(BaseCommand):
    help = "Verify the audit trail. Exit code 1: it does not hold; the row is named."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--json", action="store_true", help="one JSON document on stdout")

    def handle(self, *args: Any, **options: Any) -> None:
        found = verify_chain()
        whole = found.broken_at is None
        if options["json"]:
            self.stdout.write(
                json.dumps(
                    {
                        "whole": whole,
                        "count": found.count,
                        "head": found.head,
                        "broken_at": found.broken_at,
                    }
                )
            )
        elif whole:
            self.stdout.write(
                f"{found.count} entries, whole. Head: {found.head}\n"
                "Keep count and head elsewhere: a cut tail shows only against them."
            )
        if not whole:
            raise CommandError(
                f"Entry {found.broken_at} does not fit: it was changed, or one before it was "
                "removed or moved.",
                returncode=1,
            )
