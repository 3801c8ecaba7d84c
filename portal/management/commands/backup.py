"""Make a backup of the database and the files it names, or verify one."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from portal.actions import backup_manifest as manifests
from portal.actions.backup import BackupRefused, back_up, back_up_daily
from portal.actions.backup_db import DatabaseRefused
from portal.actions.backup_manifest import BackupBroken, Manifest


class Command(BaseCommand):
    help = (
        "Back up the database and the files into DIR, with a manifest of every file's size and "
        "SHA-256. The keys (SECRET_KEY, AUDIT_KEY, FACTOR_KEY) and the deletion ledger "
        "(LEDGER_FILE) are not part of it: keep copies of both elsewhere, apart from the backup."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("folder", metavar="DIR", type=Path)
        way = parser.add_mutually_exclusive_group()
        way.add_argument(
            "--verify", action="store_true", help="read every byte of the backup in DIR"
        )
        way.add_argument(
            "--daily",
            action="store_true",
            help="make DIR/<today>, linked to the newest before it, verify it, and remove those "
            "older than BACKUPS_KEPT_DAYS (default 30)",
        )
        parser.add_argument(
            "--originals", action="store_true", help="the cameras' own files too (large)"
        )
        parser.add_argument(
            "--like", metavar="EARLIER", type=Path, help="link what is the same in that backup"
        )
        parser.add_argument("--json", action="store_true", help="one JSON document on stdout")

    def handle(self, *args: Any, **options: Any) -> None:
        folder, originals = options["folder"], options["originals"]
        ended: list[str] = []
        try:
            if options["verify"]:
                manifest = manifests.verify(folder)
            elif options["daily"]:
                made = back_up_daily(root=folder, originals=originals)
                folder, manifest, ended = made.folder, made.manifest, made.ended
            else:
                manifest = back_up(to=folder, originals=originals, like=options["like"])
        except BackupRefused as problem:
            raise CommandError(str(problem), returncode=2) from problem
        except (BackupBroken, DatabaseRefused, OSError) as problem:
            raise CommandError(str(problem), returncode=1) from problem
        self._tell(folder, manifest, ended, as_json=options["json"])
        if manifest.missing and not options["verify"]:
            raise CommandError(
                f"{len(manifest.missing)} files are not there or not as they were stored, and are "
                f"not in the backup. The first: {manifest.missing[0]}",
                returncode=1,
            )

    def _tell(self, folder: Path, manifest: Manifest, ended: list[str], *, as_json: bool) -> None:
        told = {
            "folder": str(folder),
            "made_at": manifest.made_at,
            "engine": manifest.engine,
            "files": len(manifest.files),
            "bytes": sum(one.size_bytes for one in manifest.listed()),
            "left_out": manifest.left_out,
            "missing": manifest.missing,
            "ended": ended,
        }
        if as_json:
            self.stdout.write(json.dumps(told))
            return
        self.stdout.write(
            f"{folder}: the database and {told['files']} files, {told['bytes']} bytes, whole. "
            f"Left out: {manifest.left_out['originals']} originals."
        )
        if ended:
            self.stdout.write(f"Removed, since they are too old: {', '.join(ended)}")
