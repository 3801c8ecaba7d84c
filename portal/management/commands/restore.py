"""Put a backup back; what was deleted or withdrawn since stays so."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from portal.actions.backup_manifest import BackupBroken
from portal.actions.restore import RestoreRefused, RestoreStopped, restore


class Command(BaseCommand):
    help = (
        "Put the backup in DIR back. It is verified first; then the site is in maintenance until "
        "all that the deletion ledger (LEDGER_FILE) names is deleted or withdrawn again. The keys "
        "(SECRET_KEY, AUDIT_KEY, FACTOR_KEY) and the ledger are not in the backup: put both in "
        "their places before. Stop the workers. Everybody signs in anew afterwards."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("folder", metavar="DIR", type=Path)
        parser.add_argument(
            "--replace", action="store_true", help="although there is a site here already"
        )
        parser.add_argument(
            "--no-ledger",
            action="store_true",
            help="although the deletion ledger is lost: what was deleted comes back",
        )
        parser.add_argument(
            "--keys-lost", action="store_true", help="although AUDIT_KEY or FACTOR_KEY is lost"
        )
        parser.add_argument("--json", action="store_true", help="one JSON document on stdout")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            told = restore(
                folder=options["folder"],
                replace=options["replace"],
                no_ledger=options["no_ledger"],
                keys_lost=options["keys_lost"],
            )
        except RestoreRefused as problem:
            raise CommandError(str(problem), returncode=2) from problem
        except (BackupBroken, RestoreStopped) as problem:
            raise CommandError(str(problem), returncode=1) from problem
        if options["json"]:
            self.stdout.write(
                json.dumps(
                    {
                        "files": told.files,
                        "kept_out": told.kept_out,
                        "deleted_again": told.replayed.deleted,
                        "withdrawn_again": told.replayed.withdrawn,
                    }
                )
            )
        else:
            self.stdout.write(
                f"{told.files} files are back; {told.kept_out} that were deleted are not. From the "
                f"ledger: {told.replayed.deleted} deleted and {told.replayed.withdrawn} withdrawn "
                "again. The site serves again; everybody signs in anew."
            )
