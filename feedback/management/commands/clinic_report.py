"""Reports on a clinic: recordings with their clocks, swims, clips."""

from __future__ import annotations

import json
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from clinics.management.clinic_command import (
    dropped_words,
    left_out_words,
    not_cut_words,
    progress_words,
)
from clinics.models import Clinic
from feedback.actions.report import report_of


class Command(BaseCommand):
    help = (
        "Reports on a clinic: its recordings and how sure their clocks are, its swims, its "
        "clips. With --json one JSON document with stable names; with --all every clinic, as "
        "a list under “clinics”."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("clinic", nargs="?", help="the clinic's short name")
        parser.add_argument("--all", action="store_true", help="every clinic")
        parser.add_argument("--json", action="store_true", help="as JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        if bool(options["clinic"]) == options["all"]:
            raise CommandError("Name one clinic, or say --all.", returncode=2)
        clinics = Clinic.objects.select_related("club").order_by("date", "slug")
        if not options["all"]:
            clinics = clinics.filter(slug=options["clinic"])
            if not clinics:
                known = ", ".join(Clinic.objects.values_list("slug", flat=True)) or "none yet"
                raise CommandError(
                    f"No clinic is called “{options['clinic']}”. There are: {known}.", returncode=2
                )
        reports = [report_of(clinic=clinic) for clinic in clinics]
        if options["json"]:
            document = {"clinics": reports} if options["all"] else reports[0]
            self.stdout.write(json.dumps(document, indent=1, ensure_ascii=False))
            return
        for report in reports:
            self.stdout.write("\n".join(_words(report)))


CLIP_HEAD = "no swimmer station pass in_s out_s frames window seen missing_s time clip"


def _missing(row: dict[str, Any]) -> str:
    missing_s = row["missing_before_s"] + row["missing_after_s"]
    return f"{missing_s:.1f} {row['missing_by']}" if missing_s else "-"


def _words(report: dict[str, Any]) -> list[str]:
    clinic = report["clinic"]
    recordings = [
        (
            row["station"],
            row["camera"],
            ", ".join(file["name"] for file in row["files"]),
            row["zero_at"] or "-",
            "-" if row["rate_ppm"] is None else f"{row['rate_ppm']:+.1f}",
            "-" if row["u_ms"] is None else f"{row['u_ms']:.0f}",
            row["state"],
            str(row["ties"]),
        )
        for row in report["recordings"]
    ]
    swims = [
        (
            str(row["number"]),
            row["swimmer"],
            row["start_at"],
            row["start_kind"],
            f"{row['start_u_ms']:.0f}",
            row["person"],
            "yes" if row["passed_at"] else "no",
            "yes" if row["given_at"] else "no",
        )
        for row in report["swims"]
    ]
    clips = [
        (
            str(row["number"]),
            row["swimmer"],
            row["station"],
            str(row["pass"]),
            f"{row['in_media_s']:.3f}",
            f"{row['out_media_s']:.3f}",
            str(row["frames"]),
            row["window_by"],
            row["seen_by"],
            _missing(row),
            row["time_state"],
            row["state"],
        )
        for row in report["clips"]
    ]
    left_out = [(row["number"], row["swimmer"]) for row in report["swims"] if not row["agrees"]]
    return [
        f"{clinic['name']} ({clinic['slug']}), {clinic['date']}, {clinic['venue']}",
        "",
        *_table("station camera files begins ppm ±ms clock ties".split(), recordings),
        "",
        *_table("no swimmer start by ±ms person passed given".split(), swims),
        "",
        *_table(CLIP_HEAD.split(), clips),
        "",
        *left_out_words(report["left_out"]),
        *dropped_words(report["dropped"]),
        progress_words(report["progress"]),
        "",
        *not_cut_words(clinic["slug"], left_out),
        *([""] if left_out else []),
    ]


def _table(head: list[str], rows: list[Any]) -> list[str]:
    widths = [max(len(str(row[n])) for row in [head, *rows]) for n in range(len(head))]
    lines = [head, *rows]
    return [
        "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip()
        for line in lines
    ]
