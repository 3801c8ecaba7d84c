"""Walk the audit trail and say whether anything in it was changed, removed or moved."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from portal.actions import audit_head
from portal.actions.audit import ChainCheck, verify_chain


class Command(BaseCommand):
    help = "Verify the audit trail. Exit code 1: it does not hold; the row is named."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--head",
            metavar="FILE",
            type=Path,
            action="append",
            default=[],
            help="a head that was sent away (audit_head): the trail must go on from it; may be "
            "given several times",
        )
        parser.add_argument("--json", action="store_true", help="one JSON document on stdout")

    def handle(self, *args: Any, **options: Any) -> None:
        heads = [_read(path) for path in options["head"]]
        found = verify_chain()
        wrong = _wrong(found, heads)
        if options["json"]:
            self.stdout.write(
                json.dumps(
                    {
                        "whole": not wrong,
                        "count": found.count,
                        "head": found.head,
                        "broken_at": found.broken_at,
                        "heads": len(heads),
                        "wrong": wrong,
                    }
                )
            )
        elif not wrong:
            self.stdout.write(
                f"{found.count} entries, whole. Head: {found.head}\n"
                "A cut tail shows only against a head kept elsewhere: manage.py audit_head"
            )
        if wrong:
            raise CommandError(wrong, returncode=1)


def _read(path: Path) -> audit_head.Head:
    try:
        return audit_head.read(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as problem:
        raise CommandError(f"{path} cannot be read: {problem}", returncode=2) from problem
    except audit_head.NotAHead as problem:
        raise CommandError(f"{path}: {problem}", returncode=2) from problem


def _wrong(found: ChainCheck, heads: list[audit_head.Head]) -> str:
    if found.broken_at is not None:
        return (
            f"Entry {found.broken_at} does not fit: it was changed, or one before it was removed "
            "or moved."
        )
    return next(filter(None, map(audit_head.what_is_wrong, heads)), "")
