"""The signed head of the audit trail, to be kept off this machine."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from portal.actions import audit_head


class Command(BaseCommand):
    help = (
        "Print the signed head of the audit trail (how many entries, and the last one's MAC). Keep "
        "it elsewhere: “verify_audit --head FILE” shows whether the trail was cut since. The sweep "
        "sends it daily to AUDIT_HEAD_TO or into AUDIT_HEAD_DIR."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--to", metavar="FOLDER", type=Path, help="write it there as a file")

    def handle(self, *args: Any, **options: Any) -> None:
        head = audit_head.head_now()
        if options["to"]:
            self.stderr.write(f"Written to {audit_head.write_to(options['to'], head)}")
        self.stdout.write(audit_head.as_json(head), ending="")
