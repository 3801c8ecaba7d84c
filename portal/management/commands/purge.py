"""Deletes what is due, or says what would go."""

from __future__ import annotations

import json
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.template.defaultfilters import filesizeformat

from portal.actions import purge
from portal.actions.purge import StepReport


class Command(BaseCommand):
    help = (
        "Deletes what has passed its delete-by date; what is held stays. Running it twice "
        "changes nothing. Ends with 1 if something could not be deleted."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--dry-run", action="store_true", help="say what would go, and stop")
        parser.add_argument("--json", action="store_true", help="for programs")

    def handle(self, *, dry_run: bool, **options: Any) -> None:
        reports = purge.look() if dry_run else purge.purge()
        told = self._tell_json if options["json"] else self._tell
        told(reports, dry_run=dry_run)
        failed = [sentence for report in reports for sentence in report.failed]
        for sentence in failed:
            self.stderr.write(f"Not deleted: {sentence}")
        if failed:
            raise SystemExit(1)

    def _tell(self, reports: list[StepReport], *, dry_run: bool) -> None:
        for report in reports:
            if report.due or report.held:
                size = filesizeformat(report.size_bytes)
                verb = "would go" if dry_run else "went"
                self.stdout.write(
                    f"{report.step.label}: {len(report.due)} {verb}, {report.files} files, "
                    f"{size}; {report.held} held"
                )
        if not any(report.due for report in reports):
            self.stdout.write("Nothing is due.")

    def _tell_json(self, reports: list[StepReport], *, dry_run: bool) -> None:
        told = {
            "dry_run": dry_run,
            "files": sum(report.files for report in reports),
            "size_bytes": sum(report.size_bytes for report in reports),
            "steps": [_step(report) for report in reports],
        }
        self.stdout.write(json.dumps(told, ensure_ascii=False, indent=2))


def _step(report: StepReport) -> dict[str, Any]:
    return {
        "name": report.step.name,
        "label": str(report.step.label),
        "count": len(report.due),
        "files": report.files,
        "size_bytes": report.size_bytes,
        "held": report.held,
        "rows": report.rows(),
        "failed": report.failed,
        "items": [
            {"kind": due.kind, "id": str(due.id), "since": due.since.isoformat()}
            for due in report.due
        ],
    }
